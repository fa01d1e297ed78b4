"""Runs with measurements for the tests of exports."""

from typing import Any

from registry.models import Finding, Measurement, Run, Unit
from tests import factories

VALUES = {
    "cycle_rate": ("cycles/min", 60.25),
    "peak_drift": ("mmHg/min", -0.5),
    "peak_vacuum": ("mmHg", 240.1),
}


def measured_run(of: Unit, code: str = "north", *, plus: float = 0.0, **changes: Any) -> Run:
    """A run with three metrics under the current edition, each `plus` above its usual value."""
    run = factories.run(of, code, **changes)
    Measurement.objects.bulk_create(
        Measurement(
            run=run,
            edition=factories.edition(),
            metric=metric,
            value=value + plus,
            unit=unit,
            u=0.5,
            u_random=0.3,
            u_systematic=0.4,
            parts={"accuracy": 0.4, "scatter": 0.3},
        )
        for metric, (unit, value) in VALUES.items()
    )
    return run


def held(run: Run, *codes: str) -> Run:
    """Hold a run by findings of these codes."""
    for code in codes:
        Finding.objects.create(
            run=run, edition=factories.edition(), code=code, severity="hold", message="m", hint="h"
        )
    run.state = "held"
    run.save()
    return run
