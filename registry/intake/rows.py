"""The rows runs are made of, written with as few statements as there are tables."""

from collections.abc import Iterable

from django.db import connection

from registry.intake.findings import Noted
from registry.models import Finding
from registry.waveform import Measured

_MEASUREMENTS = """
INSERT INTO registry_measurement (edition_id, run_id, metric, unit, value, u, u_random, u_systematic)
SELECT %s, * FROM unnest(%s::bigint[], %s::text[], %s::text[],
                         %s::float8[], %s::float8[], %s::float8[], %s::float8[])
"""


def store_measurements(edition: int, measured: Iterable[tuple[int, Measured]]) -> None:
    """Store all metrics of runs, by run number, in one statement."""
    rows = [
        (run, name, q.unit, q.value, q.u, q.u_random, q.u_systematic)
        for run, found in measured
        for name, q in found.metrics.items()
    ]
    if rows:
        with connection.cursor() as cursor:
            cursor.execute(_MEASUREMENTS, [edition, *map(list, zip(*rows, strict=True))])


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
