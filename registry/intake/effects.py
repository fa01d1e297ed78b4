"""What a correction does to units and runs, read from what the database's triggers keep of each change."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import connection

from registry.intake.records import Change
from registry.models import PumpModel

# The first row a change wrote holds what was so before it; what is so now is in the record itself.
_UNITS = """
WITH before AS (
    SELECT DISTINCT ON (pgh_obj_id) pgh_obj_id, revision_id FROM registry_unitwas
    WHERE pgh_id > %s ORDER BY pgh_obj_id, pgh_id
)
SELECT was.label, now.label, count(*), min(unit.serial), max(unit.serial)
FROM before JOIN registry_unit unit ON unit.id = before.pgh_obj_id
LEFT JOIN registry_revision was ON was.id = before.revision_id
LEFT JOIN registry_revision now ON now.id = unit.revision_id
WHERE unit.pump_model_id = %s AND before.revision_id IS DISTINCT FROM unit.revision_id
GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2
"""
_RUNS = """
WITH before AS (
    SELECT DISTINCT ON (pgh_obj_id) pgh_obj_id, state FROM registry_runwas
    WHERE pgh_id > %s ORDER BY pgh_obj_id, pgh_id
)
SELECT before.state, run.state, count(*)
FROM before JOIN registry_run run ON run.id = before.pgh_obj_id
WHERE run.pump_model_id = %s AND before.state <> run.state
GROUP BY 1, 2 ORDER BY 3 DESC, 1, 2
"""
# Stored spans of one revision that lie over spans of another: only observed ones can.
_OVERLAPS = """
SELECT one.first, one.last, of_one.label, one.basis, other.first, other.last, of_other.label, other.basis
FROM registry_serialspan one
JOIN registry_serialspan other ON other.scheme_id = one.scheme_id AND other.series = one.series
    AND other.keys && one.keys AND other.revision_id <> one.revision_id AND other.id > one.id
JOIN registry_revision of_one ON of_one.id = one.revision_id
JOIN registry_revision of_other ON of_other.id = other.revision_id
WHERE one.pump_model_id = %s AND (one.first = ANY(%s) OR other.first = ANY(%s))
ORDER BY one.keys LIMIT 20
"""


@dataclass(frozen=True)
class Mark:
    """How far the kept changes of units and runs had come before a correction."""

    units: int
    runs: int


def mark() -> Mark:
    """Return where the kept changes stand now."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT coalesce((SELECT max(pgh_id) FROM registry_unitwas), 0),"
            " coalesce((SELECT max(pgh_id) FROM registry_runwas), 0)"
        )
        return Mark(*cursor.fetchone())


def effects_since(
    begun: Mark, model: PumpModel, changes: Iterable[Change], spans: Iterable[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return what changed since `begun` within this transaction, which has the model alone.

    {"changes": [{kind, name, action}], "units": [{was, now, units, first, last}], "runs": [{was, now, runs}],
    "overlaps": [text], "says": text}
    """
    firsts = [span["first"] for span in spans]
    with connection.cursor() as cursor:
        cursor.execute(_UNITS, [begun.units, model.pk])
        units = [dict(zip(("was", "now", "units", "first", "last"), row, strict=True)) for row in cursor]
        cursor.execute(_RUNS, [begun.runs, model.pk])
        runs = [dict(zip(("was", "now", "runs"), row, strict=True)) for row in cursor]
        cursor.execute(_OVERLAPS, [model.pk, firsts, firsts])
        overlaps = [
            f"{a} to {b} ({label}, {basis}) lies over {c} to {d} ({other}, {on})"
            for a, b, label, basis, c, d, other, on in cursor
        ]
    touched = [vars(change) for change in changes if change.action != "unchanged"]
    told = {"changes": touched, "units": units, "runs": runs, "overlaps": overlaps}
    return {**told, "says": _says(told)}


def _says(told: Mapping[str, Any]) -> str:
    parts = [
        f"{row['units']} unit{'s' * (row['units'] != 1)}"
        f" from {_revision(row['was'])} to {_revision(row['now'])} ({_serials(row)})"
        for row in told["units"]
    ] or ["No unit moves"]
    parts += [
        f"{row['runs']} run{'s' * (row['runs'] != 1)} {row['was']} before, {row['now']} now"
        for row in told["runs"]
    ]
    if told["overlaps"]:
        parts.append(f"{len(told['overlaps'])} spans of two revisions lie over each other")
    return "; ".join(parts) + "."


def _serials(row: Mapping[str, Any]) -> str:
    first, last = row["first"], row["last"]
    return str(first) if first == last else f"{'' if row['units'] == 2 else 'within '}{first} to {last}"


def _revision(label: str | None) -> str:
    return f"revision {label}" if label else "no known revision"
