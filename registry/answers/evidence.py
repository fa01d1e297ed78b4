"""Gather what is known of the serials in and around a range: stored spans and the units clinics measured."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import cast

from django.db import connection
from django.db.backends.postgresql.psycopg_any import NumericRange
from django.db.models import QuerySet

from registry.answers.asked import AskedRange
from registry.models import SerialSpan, Unit
from registry.statistics.sightings import Basis, Said, Seen

# Units of known build looked at on either side of what is asked: they settle what is inferred and add their
# voices to it. More of them would move the confidence by less than one part in twenty.
_AROUND = 20


# The clinics that measured each unit, then the revisions each of them named. Both walk an index from one
# value to the next, so the cost follows the number of units and clinics and not the number of runs. A clinic
# that named a revision once and left it out another time has named it; of several it named, the lowest and
# the highest are enough to show that it is of two minds.
_VOICES = """
WITH RECURSIVE measured (unit_id, clinic_id) AS (
    SELECT unit.id, (
        SELECT min(run.clinic_id) FROM registry_run run WHERE run.unit_id = unit.id AND run.state = 'accepted'
    )
    FROM registry_unit unit
    WHERE unit.scheme_id = %s AND unit.series = %s AND unit.key BETWEEN %s AND %s
    UNION ALL
    SELECT measured.unit_id, (
        SELECT min(run.clinic_id) FROM registry_run run
        WHERE run.unit_id = measured.unit_id AND run.state = 'accepted' AND run.clinic_id > measured.clinic_id
    )
    FROM measured
    WHERE measured.clinic_id IS NOT NULL
)
SELECT unit.key, unit.serial, clinic.code, one.label, other.label
FROM measured
JOIN registry_unit unit ON unit.id = measured.unit_id
JOIN registry_clinic clinic ON clinic.id = measured.clinic_id
CROSS JOIN LATERAL (
    SELECT min(run.asserted_id) AS lowest, max(run.asserted_id) AS highest FROM registry_run run
    WHERE run.unit_id = unit.id AND run.clinic_id = clinic.id AND run.state = 'accepted'
) named
LEFT JOIN registry_revision one ON one.id = named.lowest
LEFT JOIN registry_revision other ON other.id = named.highest
ORDER BY unit.key, unit.serial, clinic.code
"""


@dataclass(frozen=True)
class Evidence:
    """Stored spans and seen units of one series, with every serial spelling they bring, by place."""

    said: tuple[Said, ...]
    seen: tuple[Seen, ...]
    spellings: dict[int, str]


def gather(asked: AskedRange) -> Evidence:
    """Read the spans of the series, and the units within reach of what is asked, by index: four queries.

    Within reach is the range itself, every stored span that touches it in full (its confidence rests on all
    of it), and the nearest units of known build on either side. No query reads every run of a unit.
    """
    stored = (
        SerialSpan.objects.filter(scheme=asked.first.scheme, series=asked.first.series)
        .order_by("id")
        .values_list("keys", "revision__label", "basis", "source", "first", "last")
    )
    said: list[Said] = []
    ends: dict[int, str] = {}
    for keys, label, basis, source, first, last in stored:
        said.append(_said(keys, label, basis, source))
        ends |= {said[-1].first: first, said[-1].last: last}
    seen = _seen(asked, *_reach(asked, said))
    return Evidence(tuple(said), seen, {unit.key: unit.serial for unit in reversed(seen)} | ends)


def _said(keys: NumericRange, label: str, basis: str, source: str) -> Said:
    first, last = int(keys.lower), int(keys.upper)
    return Said(
        first if keys.lower_inc else first + 1,
        last if keys.upper_inc else last - 1,
        label,
        Basis(basis),
        source,
    )


def _reach(asked: AskedRange, said: Sequence[Said]) -> tuple[int, int]:
    first, last = int(asked.first.key), int(asked.last.key)
    touching = [span for span in said if span.first <= last and span.last >= first]
    low = min([first, *(span.first for span in touching)])
    high = max([last, *(span.last for span in touching)])
    told = _units(asked).filter(asserted__isnull=False)
    before = _nearest(told.filter(key__lt=low).order_by("-key"))
    after = _nearest(told.filter(key__gt=high).order_by("key"))
    return min([low, *before]), max([high, *after])


def _units(asked: AskedRange) -> QuerySet[Unit]:
    return Unit.objects.filter(scheme=asked.first.scheme, series=asked.first.series)


def _nearest(units: QuerySet[Unit]) -> list[int]:
    return [int(cast(Decimal, key)) for key in units.values_list("key", flat=True)[:_AROUND]]


def _seen(asked: AskedRange, low: int, high: int) -> tuple[Seen, ...]:
    """Each unit with accepted runs between two places, with what every clinic took it for."""
    series = asked.first.series
    with connection.cursor() as cursor:
        cursor.execute(_VOICES, (asked.first.scheme.pk, series, Decimal(low), Decimal(high)))
        rows = cursor.fetchall()
    voices: dict[tuple[int, str], set[tuple[str, str | None]]] = defaultdict(set)
    for key, serial, clinic, one, other in rows:
        voices[int(key), serial] |= {(clinic, one), (clinic, other)}
    return tuple(Seen(key, serial, frozenset(words)) for (key, serial), words in voices.items())
