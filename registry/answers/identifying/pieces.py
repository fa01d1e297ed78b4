"""Pieces of evidence for or against builds: what was said, what was understood, and how likely it makes each.

A piece that could not be understood, or that nobody can weigh, stays in the answer and says why it counts for
nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any

import numpy as np
from django.db import connection

from registry.answers.identifying.words import understand
from registry.answers.serials.answer import answer_serials
from registry.errors import DomainError, Fault, Invalid
from registry.models import PumpModel, Revision
from registry.statistics.evidence import (
    RIGHT_BY_BASIS,
    date_likelihoods,
    mark_likelihoods,
    serial_likelihoods,
    tag_likelihoods,
    trusted,
)
from registry.statistics.robust import Floats

MOST_MARKS = 20
_LONGEST = {"mark": 120, "serial": 60, "firmware": 40}

# When a bench first had a unit of each revision: each unit's first accepted run, by index.
_FIRST_SEEN = """
SELECT unit.revision_id, min(coalesce(run.recorded_at, run.created_at))
FROM registry_unit unit
CROSS JOIN LATERAL (
    SELECT recorded_at, created_at FROM registry_run
    WHERE unit_id = unit.id AND state = 'accepted' ORDER BY id LIMIT 1
) run
WHERE unit.pump_model_id = %s AND unit.revision_id IS NOT NULL
GROUP BY unit.revision_id
"""


@dataclass(frozen=True)
class Piece:
    """One piece of evidence.

    `logs` holds the natural logarithm of its likelihood under each hypothesis (the revisions in order and,
    last, none of them); None where it counts for nothing. `thin` marks hypotheses it must not name by itself.
    """

    kind: str
    said: str
    says: str
    logs: Floats | None = None
    thin: tuple[bool, ...] = ()
    more: Mapping[str, Any] = field(default_factory=dict)

    def is_thin_for(self, place: int) -> bool:
        """Whether too little was measured to name that hypothesis by this piece."""
        return bool(self.thin) and self.thin[place]


@dataclass(frozen=True)
class Builds:
    """The revisions of a pump model in order, with the prior chances (none of them last)."""

    model: PumpModel
    revisions: tuple[Revision, ...]
    prior: Floats

    @property
    def labels(self) -> list[str]:
        """The labels in order."""
        return [revision.label for revision in self.revisions]

    @property
    def marks(self) -> dict[str, list[str]]:
        """All values known of each mark, in the order of the revisions."""
        found: dict[str, list[str]] = {}
        for revision in self.revisions:
            for key, value in revision.marks.items():
                values = found.setdefault(str(key), [])
                if str(value) not in values:
                    values.append(str(value))
        return found

    def values_of(self, key: str) -> list[str | None]:
        """What the mark is on each revision, None where that is not known."""
        known = (revision.marks.get(key) for revision in self.revisions)
        return [None if value is None else str(value) for value in known]

    @property
    def tags(self) -> list[list[str]]:
        """The firmware tags of each revision."""
        return [list(revision.firmware) for revision in self.revisions]


def checked(kind: str, text: str) -> str:
    """Return a text without spare blanks. Raises Invalid on its field: too long, or not printable."""
    tidied = " ".join(text.split())
    if len(tidied) <= _LONGEST[kind] and tidied.isprintable():
        return tidied
    raise Invalid(
        f"{kind}: must be at most {_LONGEST[kind]} printable characters",
        hint="Say it in a few words. Nothing about a client may enter.",
        faults=(Fault(f"must be at most {_LONGEST[kind]} printable characters", field=kind),),
    )


def serial_piece(builds: Builds, serial: str) -> Piece:
    """What a serial says, by the answer to `serials`; nothing where that cannot tell."""
    try:
        document = answer_serials(builds.model.name, serial)
    except DomainError as error:
        return Piece("serial", serial, f"{error.detail.removesuffix('.')}. {error.hint}".strip())
    span, *others = document["spans"]
    if others or span["first"] != span["last"]:
        return Piece("serial", serial, "this is a range, and no one pump's serial")
    made = document.get("made") or {}
    told = f"; made {made['says']}" if made else ""
    label = span["revision"]
    if label not in builds.labels:
        nobody = f"nobody knows yet which revision {span['first']} is{told}"
        return Piece("serial", serial, nobody, more={"made": made, "value": span["first"]})
    logs = np.log(serial_likelihoods(builds.labels.index(label), _right(span), builds.prior))
    more = {"made": made, "value": span["first"]}
    return Piece("serial", serial, f"{_standing(span)}{told}", logs, more=more)


def _right(span: Mapping[str, Any]) -> float:
    """How likely a stretch's revision is right: as stated for an inferred one, else by basis and voices."""
    against = int(span.get("contradicting") or 0)
    right = trusted(span["basis"], int(span.get("supporting") or 0), against)
    stated = span.get("probability")
    return right if stated is None else float(min(max(stated, 0.01), RIGHT_BY_BASIS["declared"]))


def _standing(span: Mapping[str, Any]) -> str:
    label = span["revision"]
    standing = {
        "declared": f"lies in a declared span of revision {label}",
        "observed": f"was seen to be revision {label}",
        "inferred": f"lies between units of revision {label}",
    }.get(span["basis"], f"is taken for revision {label} ({span['basis']})")
    return f"{span['first']} {standing}" + ("; not all sources agree" if span.get("contradicting") else "")


def mark_pieces(builds: Builds, said: Sequence[str]) -> list[Piece]:
    """What marks say, each typed in plain words; the same mark counts once. Raises Invalid for too many."""
    if len(said) > MOST_MARKS:
        raise Invalid(
            f"{len(said)} marks are more than are taken at once",
            hint=f"Give at most {MOST_MARKS}, each once.",
            faults=(Fault(f"at most {MOST_MARKS} marks", field="mark"),),
        )
    found: dict[str, str] = {}
    return [_mark_piece(builds, checked("mark", text), found) for text in said if text.strip()]


def _mark_piece(builds: Builds, text: str, found: dict[str, str]) -> Piece:
    marks = builds.marks
    meant = understand(text, marks)
    more = {"key": meant.key, "value": meant.value}
    if meant.key is None or meant.value is None:
        return Piece("mark", text, meant.says, more=more)
    if meant.key in found:
        agrees = found[meant.key] == meant.value
        why = "said already" if agrees else f"contradicts '{found[meant.key]}', which was said first"
        return Piece("mark", text, f"{meant.says}: {why}", more=more)
    found[meant.key] = meant.value
    likelihoods = mark_likelihoods(meant.value, builds.values_of(meant.key), marks[meant.key])
    return Piece("mark", text, f"{meant.says}{_whose(builds, meant.key)}", np.log(likelihoods), more=more)


def _whose(builds: Builds, key: str) -> str:
    of = [
        f"{label} {value}"
        for label, value in zip(builds.labels, builds.values_of(key), strict=True)
        if value is not None
    ]
    return f" (known: {', '.join(of)})"


def firmware_piece(builds: Builds, tag: str) -> Piece:
    """What a firmware tag says; a unit may have been updated, so it never settles the matter by itself."""
    by_fold = {one.casefold(): one for own in builds.tags for one in own}
    known = by_fold.get(tag.casefold())
    if known is None:
        return Piece("firmware", tag, "no revision is known with this firmware")
    owners = [label for label, own in zip(builds.labels, builds.tags, strict=True) if known in own]
    who = f"firmware of revision{'s' if len(owners) > 1 else ''} {', '.join(owners)}; units may be updated"
    return Piece("firmware", tag, who, np.log(tag_likelihoods(known, builds.tags)))


def purchase_piece(builds: Builds, bought: date, made: Mapping[str, Any]) -> Piece:
    """What the day of purchase says against when benches first had each revision: one query, weak evidence.

    A pump is not bought before it is made: where `made`, what its serial says of that, begins later, the day
    counts for nothing. Raises Invalid for a day before the year 2000 or to come.
    """
    if not date(2000, 1, 1) <= bought <= datetime.now(UTC).date():
        raise Invalid(
            "purchased: lies before the year 2000 or in the future",
            hint="Give the day of purchase, as in 2025-03-02.",
            faults=(Fault("lies before the year 2000 or in the future", field="purchased"),),
        )
    if made and date.fromisoformat(made["first"]) > bought:
        later = f"but its serial says it was made {made['says']}: check both"
        return Piece("purchased", bought.isoformat(), later)
    with connection.cursor() as cursor:
        cursor.execute(_FIRST_SEEN, (builds.model.pk,))
        seen = dict(cursor.fetchall())
    first = [seen[one.pk].date() if one.pk in seen else None for one in builds.revisions]
    if not any(first):
        return Piece("purchased", bought.isoformat(), "no unit of a known revision was measured yet")
    told = [f"{label} {day}" for label, day in zip(builds.labels, first, strict=True) if day]
    says = f"first on a bench: {', '.join(told)}; weak, since shops keep stock"
    return Piece("purchased", bought.isoformat(), says, np.log(date_likelihoods(bought, first)))
