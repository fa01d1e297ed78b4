"""The rows runs are made of, written with as few statements as can be."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from typing import Any

from django.db import connection

from registry.intake.cycles import columns_of
from registry.intake.findings import Noted
from registry.intake.measure import Taken
from registry.models import Finding

# The details go along with the measurements, since every statement more costs an upload a round trip.
_DETAILS = """
    INSERT INTO registry_rundetails (edition_id, run_id, cycles, imbalance)
    SELECT %(edition)s, run, cycles::jsonb, imbalance::jsonb
    FROM unnest(%(runs)s::bigint[], %(cycles)s::text[], %(imbalance)s::text[]) AS t (run, cycles, imbalance)
"""
_MEASURED = f"""
WITH details AS ({_DETAILS})
INSERT INTO registry_measurement (edition_id, run_id, metric, unit, value, u, u_random, u_systematic, parts)
SELECT %(edition)s, run, metric, unit, value, u, u_random, u_systematic, parts::jsonb
FROM unnest(%(run)s::bigint[], %(metric)s::text[], %(unit)s::text[], %(value)s::float8[], %(u)s::float8[],
            %(u_random)s::float8[], %(u_systematic)s::float8[], %(parts)s::text[])
     AS t (run, metric, unit, value, u, u_random, u_systematic, parts)
"""  # noqa: S608 - put together from the constant above
_COLUMNS = ("run", "metric", "unit", "value", "u", "u_random", "u_systematic", "parts")


def store_taken(edition: int, taken: Iterable[tuple[int, Taken]]) -> None:
    """Store metrics, cycles and imbalance of runs, by run number, in one statement."""
    runs = list(taken)
    if not runs:
        return
    rows = [
        (run, name, q.unit, q.value, q.u, q.u_random, q.u_systematic, json.dumps(dict(q.parts)))
        for run, found in runs
        for name, q in found.measured.metrics.items()
    ]
    columns = map(list, zip(*rows, strict=True)) if rows else ([] for _ in _COLUMNS)
    values = _details(edition, runs) | dict(zip(_COLUMNS, columns, strict=True))
    with connection.cursor() as cursor:
        cursor.execute(_MEASURED, values)


def store_details(edition: int, taken: Sequence[tuple[int, Taken]]) -> None:
    """Store cycles and imbalance of runs that have none."""
    with connection.cursor() as cursor:
        cursor.execute(f"{_DETAILS} ON CONFLICT (run_id, edition_id) DO NOTHING", _details(edition, taken))


def _details(edition: int, taken: Sequence[tuple[int, Taken]]) -> dict[str, Any]:
    return {
        "edition": edition,
        "runs": [run for run, _ in taken],
        "cycles": [json.dumps(columns_of(found.measured.cycles)) for _, found in taken],
        "imbalance": [_imbalance(found) for _, found in taken],
    }


def _imbalance(found: Taken) -> str | None:
    if not found.imbalance:
        return None
    return json.dumps({metric: asdict(quantity) for metric, quantity in found.imbalance.items()})


def store_findings(edition: int, noted: Iterable[tuple[int, Noted]]) -> None:
    """Store what was noted about runs, by run number."""
    Finding.objects.bulk_create(
        Finding(
            run_id=run,
            edition_id=edition,
            code=f.code,
            severity=f.severity,
            message=f.message,
            hint=f.hint,
            at_s=f.at_s,
        )
        for run, f in noted
    )
