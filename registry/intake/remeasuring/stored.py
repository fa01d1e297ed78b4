"""What a run is under an edition, present or past."""

from dataclasses import dataclass
from typing import Any

from registry.errors import NotMeasured, UnknownEdition
from registry.intake.findings import INTAKE_CODES
from registry.models import (
    Edition,
    Finding,
    Measurement,
    Run,
    RunDetails,
    RunEdition,
    RunState,
    Side,
)
from registry.waveform import Quantity


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

    Raises UnknownEdition, or NotMeasured where the run is not measured under that one.
    """
    current = _current_beside(edition)
    row = RunEdition.objects.filter(run=run, edition=edition).first()
    if row is None and edition != current:
        raise _not_measured(run, edition, current)
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


def details_under(run: Run, edition: int) -> RunDetails:
    """Return the cycles and the imbalance kept of a run under an edition; one query where there are any.

    Raises UnknownEdition or NotMeasured. A run that cannot be measured under the edition has none, and one
    that was stored before they were kept has none until the edition is completed.
    """
    details = RunDetails.objects.filter(run=run, edition=edition).first()
    if details is not None:
        return details
    current = _current_beside(edition)
    row = RunEdition.objects.filter(run=run, edition=edition).first()
    if row is not None and row.refused:
        raise NotMeasured(
            f"Run {run.pk} cannot be measured under edition {edition}",
            hint="Its findings under that edition say why.",
            extra={"reason": row.refused},
        )
    if row is None and edition != current:
        raise _not_measured(run, edition, current)
    raise NotMeasured(
        f"Run {run.pk} was stored before single cycles were kept",
        hint=f"The registry's keeper fills them in with manage.py remeasure --edition {edition}.",
        extra={"reason": "not_kept"},
    )


def other_side(run: Run) -> Run | None:
    """Return the run of the other side of the same recording: same trace, unit and clinic, not withdrawn."""
    other = {Side.LEFT: Side.RIGHT, Side.RIGHT: Side.LEFT}.get(Side(run.side))
    if other is None:
        return None
    same = Run.objects.filter(trace=run.trace_id, side=other, unit=run.unit_id, clinic=run.clinic_id)
    return same.exclude(state=RunState.WITHDRAWN).order_by("pk").first()


def imbalance_under(run: Run, edition: int) -> dict[str, Quantity] | None:
    """Return left less right of a run's trace by metric, as kept; None where the file holds one side."""
    kept = RunDetails.objects.filter(run=run, edition=edition).values_list("imbalance", flat=True).first()
    return {metric: Quantity(**values) for metric, values in kept.items()} if kept else None


def _current_beside(edition: int) -> int:
    """The current edition's number, once it is sure that there is the other one."""
    known = dict(Edition.objects.values_list("number", "is_current"))
    if edition not in known:
        raise UnknownEdition(
            f"There is no edition {edition}",
            hint=f"Known here: {', '.join(map(str, sorted(known)))}; see GET /api/v1/editions.",
            extra={"editions": sorted(known)},
        )
    return next(number for number, is_current in known.items() if is_current)


def _not_measured(run: Run, edition: int, current: int) -> NotMeasured:
    return NotMeasured(
        f"Run {run.pk} is not measured under edition {edition}",
        hint=f"The current edition is {current}; the registry's keeper measures under another with "
        f"manage.py remeasure --edition {edition}.",
        extra={"reason": "not_remeasured"},
    )
