"""The rows a run is made of, written with as few statements as there are tables."""

from collections.abc import Iterable

from django.db import connection

from registry.intake.findings import Noted
from registry.models import Finding, Run
from registry.waveform import Measured

_MEASUREMENTS = """
INSERT INTO registry_measurement (run_id, edition_id, metric, value, unit, u, u_random, u_systematic)
SELECT %s, %s, * FROM unnest(%s::text[], %s::float8[], %s::text[], %s::float8[], %s::float8[], %s::float8[])
"""


def store_measurements(run: Run, measured: Measured) -> None:
    """Store all metrics of a run in one statement."""
    metrics = list(measured.metrics.items())
    columns = [
        [name for name, _ in metrics],
        *(
            [getattr(q, part) for _, q in metrics]
            for part in ("value", "unit", "u", "u_random", "u_systematic")
        ),
    ]
    with connection.cursor() as cursor:
        cursor.execute(_MEASUREMENTS, [run.pk, measured.edition, *columns])


def store_findings(run: Run, edition: int, findings: Iterable[Noted]) -> None:
    """Store what was noted about a run."""
    Finding.objects.bulk_create(
        Finding(
            run=run,
            edition_id=edition,
            code=f.code,
            severity=f.severity,
            message=f.message,
            hint=f.hint,
            at_s=f.at_s,
        )
        for f in findings
    )
