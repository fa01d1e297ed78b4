"""What a run is under an edition, present or past."""

from dataclasses import dataclass
from typing import Any

from registry.answers.stamp import current_edition
from registry.errors import NotFound
from registry.intake.findings import INTAKE_CODES
from registry.models import Finding, Measurement, Run, RunEdition, RunState


@dataclass(frozen=True)
class UnderEdition:
    """A run as one edition has it. `refused` is the code of why it cannot be measured, empty where it can.

    `state` is what measuring under that edition and intake's present findings make of the run; a withdrawn
    run is withdrawn under every edition.
    """

    run: Run
    edition: int
    state: str
    read: dict[str, Any]
    refused: str
    measurements: list[Measurement]
    findings: list[Finding]


def run_under(run: Run, edition: int) -> UnderEdition:
    """Return a run as measured under an edition, in at most five queries.

    Raises NotFound when there is no such edition or the run is not measured under it.
    """
    current = current_edition()
    row = RunEdition.objects.filter(run=run, edition=edition).first()
    if row is None and edition != current:
        raise NotFound(
            f"Run {run.pk} is not measured under edition {edition}",
            hint=f"The current edition is {current}; the registry's keeper may remeasure under another.",
        )
    findings = list(Finding.objects.filter(run=run, edition=edition))
    return UnderEdition(
        run=run,
        edition=edition,
        state=run.state if edition == current else _state_under(run, findings, current),
        read=row.read if row else run.read,
        refused=row.refused if row else "",
        measurements=list(Measurement.objects.filter(run=run, edition=edition).order_by("id")),
        findings=findings,
    )


def _state_under(run: Run, findings: list[Finding], current: int) -> str:
    """The state of a run under an edition that is not current: what measuring holds, or intake does now."""
    if run.state == RunState.WITHDRAWN:
        return RunState.WITHDRAWN
    if any(finding.severity == "hold" and finding.code not in INTAKE_CODES for finding in findings):
        return RunState.HELD
    now = Finding.objects.filter(run=run, edition=current, severity="hold", code__in=INTAKE_CODES)
    return RunState.HELD if now.exists() else RunState.ACCEPTED
