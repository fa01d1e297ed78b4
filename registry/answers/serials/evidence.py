"""Gather what is known of the serials in and around a range: stored spans and the units clinics measured."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import inf
from typing import Any

from django.db import connection

from registry.answers.serials.asked import AskedRange
from registry.statistics.sightings import Basis, Said, Seen

# Units of known build, and spans of each basis, looked at on either side of what is asked: they settle what
# is inferred, tell how often builds change here, and add their voices. More of them on both sides would move
# the confidence by less than one part in twenty.
_AROUND = 10
# Within the range: what lies beyond is asked for anew, so that one question never reads a whole series.
MOST_SPANS_READ = 600
MOST_UNITS_READ = 5000

_COLUMNS = "id, lower(keys), upper(keys), revision_id, basis, source, first, last"
_OF = "FROM registry_serialspan WHERE scheme_id = %(scheme)s AND series = %(series)s"
_SPANS = f"""
WITH found AS (
    (SELECT {_COLUMNS} {_OF} AND keys && numrange(%(first)s, %(last)s, '[]')
     ORDER BY lower(keys) LIMIT %(spans)s)
    UNION
    (SELECT {_COLUMNS} {_OF} AND lower(keys) < %(first)s AND basis = 'declared'
     ORDER BY lower(keys) DESC LIMIT %(around)s)
    UNION
    (SELECT {_COLUMNS} {_OF} AND lower(keys) > %(last)s AND basis = 'declared'
     ORDER BY lower(keys) LIMIT %(around)s)
    UNION
    (SELECT {_COLUMNS} {_OF} AND lower(keys) < %(first)s AND basis = 'observed'
     ORDER BY lower(keys) DESC LIMIT %(around)s)
    UNION
    (SELECT {_COLUMNS} {_OF} AND lower(keys) > %(last)s AND basis = 'observed'
     ORDER BY lower(keys) LIMIT %(around)s)
)
SELECT found.*, (SELECT label FROM registry_revision WHERE id = found.revision_id) FROM found ORDER BY id
"""  # noqa: S608 - put together from the texts above alone
# Clinics and the revisions each named are read from an index alone. A clinic that named a revision once and
# left it out another time has named it; of several it named, the lowest and the highest are enough to show
# that it is of two minds. Days are read for the units within the range only.
_UNITS = """
WITH near AS (
    (SELECT id, key, serial, true AS inside FROM registry_unit
     WHERE scheme_id = %(scheme)s AND series = %(series)s AND key BETWEEN %(first)s AND %(last)s
     ORDER BY key LIMIT %(units)s)
    UNION ALL
    (SELECT id, key, serial, false FROM registry_unit
     WHERE scheme_id = %(scheme)s AND series = %(series)s AND key < %(first)s AND asserted_id IS NOT NULL
     ORDER BY key DESC LIMIT %(around)s)
    UNION ALL
    (SELECT id, key, serial, false FROM registry_unit
     WHERE scheme_id = %(scheme)s AND series = %(series)s AND key > %(last)s AND asserted_id IS NOT NULL
     ORDER BY key LIMIT %(around)s)
)
SELECT near.key, near.serial, near.inside, word.clinic_id,
       (SELECT code FROM registry_clinic WHERE id = word.clinic_id),
       (SELECT label FROM registry_revision WHERE id = word.lowest),
       (SELECT label FROM registry_revision WHERE id = word.highest),
       day.first, day.last
FROM near
LEFT JOIN LATERAL (
    SELECT run.clinic_id, min(run.asserted_id) AS lowest, max(run.asserted_id) AS highest
    FROM registry_run run WHERE run.unit_id = near.id AND run.state = 'accepted' GROUP BY run.clinic_id
) word ON true
LEFT JOIN LATERAL (
    SELECT min(coalesce(run.recorded_at, run.created_at)) AS first,
           max(coalesce(run.recorded_at, run.created_at)) AS last
    FROM registry_run run WHERE run.unit_id = near.id AND run.state = 'accepted' AND near.inside
) day ON true
ORDER BY near.key, near.serial
"""


@dataclass(frozen=True)
class Evidence:
    """Stored spans and seen units of one series, with every serial spelling they bring, by place.

    `until` is the last place that was looked at: the end of the range, or less where it holds too much.
    """

    said: tuple[Said, ...]
    seen: tuple[Seen, ...]
    spellings: dict[int, str]
    until: int


def gather(asked: AskedRange) -> Evidence:
    """Read the spans and units within what is asked and next to it, by index: two queries.

    What is next to it are the nearest spans and the nearest units of known build on either side, so one
    serial costs the same however much is known of the series.
    """
    first, last = int(asked.first.key), int(asked.last.key)
    where = {"scheme": asked.first.scheme.pk, "series": asked.first.series, "around": _AROUND}
    rows = _rows(_SPANS, {**where, "first": first, "last": last, "spans": MOST_SPANS_READ + 1})
    spans = [(_said(row), row[6], row[7]) for row in rows]
    within = sorted(said.first for said, _, _ in spans if said.first <= last and said.last >= first)
    if len(within) > MOST_SPANS_READ:
        last = within[MOST_SPANS_READ] - 1
    found = _rows(_UNITS, {**where, "first": first, "last": last, "units": MOST_UNITS_READ + 1})
    inside = sorted({(int(row[0]), row[1]) for row in found if row[2]})
    if len(inside) > MOST_UNITS_READ:
        last = inside[-1][0] - 1
    low, high = _reach([said for said, _, _ in spans], first, last)
    seen = tuple(unit for unit in _seen(found) if low <= unit.key <= high)
    ends = {said.first: a for said, a, _ in spans} | {said.last: b for said, _, b in spans}
    spellings = {int(row[0]): row[1] for row in reversed(found)} | ends
    return Evidence(tuple(said for said, _, _ in spans), seen, spellings, last)


def _rows(question: str, values: dict[str, Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(question, values)
        rows: list[tuple[Any, ...]] = cursor.fetchall()
    return rows


def _said(row: tuple[Any, ...]) -> Said:
    _, first, last, _, basis, source, _, _, label = row
    return Said(int(first), int(last), label, Basis(basis), source)


def _reach(said: Sequence[Said], first: int, last: int) -> tuple[float | int, float | int]:
    """Up to where all declared spans are known: beyond it nothing may be inferred."""
    declared = [span for span in said if span.basis is Basis.DECLARED]
    before = [span.first for span in declared if span.first < first]
    after = [span.last for span in declared if span.first > last]
    low = min(before) if len(before) >= _AROUND else -inf
    high = max(after) if len(after) >= _AROUND else inf
    return low, high


def _seen(rows: Sequence[tuple[Any, ...]]) -> list[Seen]:
    """Each unit with accepted runs, with what every clinic took it for and when it was seen."""
    voices: dict[tuple[int, str], set[tuple[str, str | None]]] = defaultdict(set)
    days: dict[tuple[int, str], tuple[date | None, date | None]] = {}
    for key, serial, _, clinic, code, one, other, first, last in rows:
        if clinic is not None:
            voices[int(key), serial] |= {(code, one), (code, other)}
            days[int(key), serial] = (first and first.date(), last and last.date())
    return [
        Seen(key, serial, frozenset(words), *days[key, serial]) for (key, serial), words in voices.items()
    ]
