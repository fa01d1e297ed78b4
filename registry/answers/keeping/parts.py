"""Parts that answers are made of, made ahead and kept: never stale, for the reason `served.kept` gives.

A part tells of one pump model under one edition, whatever a question narrows it down to. It is stored with
the counts of changes read *before* it was made, and found by one statement that sees them unchanged.
"""

import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connection

from registry.answers.keeping.bounds import MOST_BYTES_A_PART, bound_parts
from registry.answers.keeping.program import code_mark
from registry.answers.keeping.watching import tables_read, unwatched
from registry.models.kept import EVERYTHING, SITTINGS

# Kept in place of a part that could not be made, that its kind will not make, or that may not be kept: it is
# not tried again before a change.
NOTHING = b""

# A part's scopes are its pump model and `always`.
IS_FRESH = """
kind = %(kind)s AND edition = %(edition)s AND code = %(code)s AND body <> ''
  AND (%(keys)s::text[] IS NULL OR key = ANY (%(keys)s))
  AND (%(models)s::bigint[] IS NULL OR pump_model = ANY (%(models)s))
  AND changes = (
    SELECT coalesce(sum(n), 0) FROM registry_changecount
    WHERE scope = kept.pump_model OR scope = ANY (%(always)s)
)
"""
_FRESH = f"SELECT pump_model, key, body FROM registry_keptpart kept WHERE {IS_FRESH}"  # noqa: S608 - a constant
_FRESH_OF_KIND = f"SELECT kind, body FROM registry_keptpart kept WHERE {IS_FRESH}"  # noqa: S608 - a constant
_GOOD = """
SELECT key FROM registry_keptpart
WHERE kind = %(kind)s AND edition = %(edition)s AND code = %(code)s AND pump_model = %(model)s
  AND changes = (SELECT coalesce(sum(n), 0) FROM registry_changecount WHERE scope = ANY (%(scopes)s))
"""
_CHANGES = """
SELECT coalesce(sum(n), 0)::bigint FROM registry_changecount WHERE scope = ANY (%(scopes)s)
"""
_KEEP = """
INSERT INTO registry_keptpart (kind, key, edition, code, pump_model, changes, spent_s, body, made_at)
SELECT %(kind)s, key, %(edition)s, %(code)s, %(model)s, %(changes)s, %(spent_s)s, body, now()
FROM unnest(%(keys)s::text[], %(bodies)s::bytea[]) AS made (key, body)
WHERE %(changes)s = (SELECT coalesce(sum(n), 0) FROM registry_changecount WHERE scope = ANY (%(scopes)s))
ON CONFLICT (kind, key, edition, code, pump_model) DO UPDATE SET
    changes = excluded.changes, spent_s = excluded.spent_s, body = excluded.body, made_at = excluded.made_at
"""
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class PartKind:
    """A kind of part: `make` works one out of a pump model, an edition and a key.

    A body is empty, NOTHING, where the part is better worked out when it is asked for. `keys` are those made
    ahead of a model in an edition, `("",)` where there is one part; up to 80 characters, and none is "*".
    `sittings` says that elevations of sittings count.

    `make_several` works out the parts of up to `at_once` keys, where that takes less than one by one. With
    `patience`, one part in so many of the time for making parts is for this kind, and so many times as long
    as all of a model took the last time it has to be calm before they are made again.
    """

    name: str
    make: Callable[[int, int, str], bytes]
    keys: Callable[[int, int], Iterable[str]]
    sittings: bool = False
    make_several: Callable[[int, int, Sequence[str]], Iterable[bytes]] | None = None
    at_once: int = 1
    patience: float = 0.0

    @property
    def always(self) -> list[int]:
        """The scopes of changes that concern the parts of every model."""
        return [EVERYTHING, *([SITTINGS] if self.sittings else [])]

    def bodies(self, model: int, edition: int, keys: Sequence[str]) -> list[bytes]:
        """Work out the parts of some keys."""
        if self.make_several is not None:
            return list(self.make_several(model, edition, keys))
        return [self.make(model, edition, key) for key in keys]

    def by_this_program(self, edition: int | None) -> dict[str, Any]:
        """What tells this program's parts of this kind, as parameters of a statement."""
        return {"kind": self.name, "edition": edition, "code": code_mark(), "always": self.always}


def fresh(
    kind: PartKind, edition: int, key: str = "", models: Sequence[int] | None = None
) -> dict[int, bytes]:
    """Return the parts that are good now, by pump model: of those models, or of all. One query.

    What is not there is out of date or was never made.
    """
    return {model: body for (model, _), body in fresh_of(kind, edition, [key], models).items()}


def fresh_of(
    kind: PartKind, edition: int, keys: Sequence[str] | None, models: Sequence[int] | None = None
) -> dict[tuple[int, str], bytes]:
    """The same for several keys, or all there are, by pump model and key and of one moment."""
    wanted = {
        "keys": None if keys is None else list(keys),
        "models": None if models is None else list(models),
    }
    with connection.cursor() as cursor:
        cursor.execute(_FRESH, {**kind.by_this_program(edition), **wanted})
        return {(model, key): bytes(body) for model, key, body in cursor.fetchall()}


def fresh_together(edition: int, model: int, wanted: Mapping[PartKind, str]) -> dict[PartKind, bytes]:
    """Return the parts of several kinds, one of each, that are good now of a pump model. One query."""
    asked, values = [], dict[str, Any]()
    for kind, key in wanted.items():
        asked.append(_FRESH_OF_KIND.replace("%(", f"%({kind.name} "))
        of_kind = {**kind.by_this_program(edition), "keys": [key], "models": [model]}
        values |= {f"{kind.name} {name}": value for name, value in of_kind.items()}
    with connection.cursor() as cursor:
        cursor.execute(" UNION ALL ".join(asked), values)
        found = {name: bytes(body) for name, body in cursor.fetchall()}
    return {kind: found[kind.name] for kind in wanted if kind.name in found}


def made(kind: PartKind, edition: int, model: int, key: str = "") -> bytes:
    """Make a part now and keep it, unless something changed meanwhile, it is large, or cannot be kept."""
    return made_all(kind, edition, model, [key])[0]


def made_all(kind: PartKind, edition: int, model: int, keys: Sequence[str]) -> list[bytes]:
    """The same for several, kept at once; each is taken to have cost as much as the others."""
    place = Place(kind, edition, model)
    changes = place.changes()
    began = time.monotonic()
    with tables_read() as read:
        bodies = kind.bodies(model, edition, keys)
    spent_s = (time.monotonic() - began) / max(len(keys), 1)
    if nobody := unwatched(read):
        log.warning("%s are not kept: nobody counts changes of %s", kind.name, ", ".join(nobody))
    kept = [NOTHING if nobody or len(body) > MOST_BYTES_A_PART else body for body in bodies]
    place.keep(dict(zip(keys, kept, strict=True)), changes, spent_s)
    return bodies


@dataclass(frozen=True)
class Place:
    """Where the parts of a kind of one pump model under an edition are kept."""

    kind: PartKind
    edition: int
    model: int

    def changes(self) -> int:
        """How often anything they rest on changed until now."""
        with connection.cursor() as cursor:
            cursor.execute(_CHANGES, self._row())
            return int(cursor.fetchone()[0])

    def good(self) -> set[str]:
        """The keys of those that are good now, and of those that were tried and are not to be had now."""
        with connection.cursor() as cursor:
            cursor.execute(_GOOD, self._row())
            return {key for (key,) in cursor.fetchall()}

    def keep(self, bodies: Mapping[str, bytes], changes: int, spent_s: float) -> None:
        """Keep those that were made, each in so long, of what was there after so many changes; none if there
        were more since."""
        # In one order, so that of two that keep the same neither waits for the other's second.
        keys = sorted(bodies)
        row = {"keys": keys, "bodies": [bodies[key] for key in keys], "changes": changes, "spent_s": spent_s}
        with connection.cursor() as cursor:
            cursor.execute(_KEEP, self._row(**row))
        bound_parts(sum(map(len, bodies.values())))

    def _row(self, **more: Any) -> dict[str, Any]:
        scopes = [self.model, *self.kind.always]
        return {**self.kind.by_this_program(self.edition), "model": self.model, "scopes": scopes, **more}
