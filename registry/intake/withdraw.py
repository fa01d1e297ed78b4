"""Take a run out of all answers, for a reason; and look again at the runs that were held because of it."""

from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone

from registry.alerts.tasks import want_check
from registry.errors import Conflict, Fault, Invalid, NotPermitted
from registry.intake.findings import INTAKE_CODES
from registry.intake.judge import judge
from registry.intake.summaries import refresh_summaries
from registry.intake.units import covering_spans, first_assertion, resolve
from registry.models import Edition, Finding, Operator, PumpModel, Run, RunState, Unit


def withdraw(run_id: int, operator: Operator, why: str) -> Run:
    """Withdraw a run of the operator's own clinic; a curator may withdraw any.

    Raises NotPermitted, Invalid without a reason, Conflict when it is withdrawn already.
    """
    why = " ".join(why.split())
    with transaction.atomic():
        run = _locked(run_id)
        if run.clinic_id != operator.clinic_id and not operator.is_curator:
            raise NotPermitted(
                "The run belongs to another clinic", hint="Ask that clinic or a curator to withdraw it."
            )
        if not why:
            raise Invalid(
                "reason: is needed",
                hint="Say in a few words why the run is withdrawn; it stays on record.",
                faults=(Fault("is needed", field="reason"),),
            )
        if run.state == RunState.WITHDRAWN:
            raise Conflict(f"Run {run.pk} is withdrawn already: {run.withdrawn_why}")
        run.state, run.withdrawn_at = RunState.WITHDRAWN, timezone.now()
        run.withdrawn_by, run.withdrawn_why = operator, why[:300]
        run.save(update_fields=["state", "withdrawn_at", "withdrawn_by", "withdrawn_why"])
        settle_unit(run.unit)
        refresh_summaries(run)
        want_check(run)
    _look_again_at_twins(run)
    return run


def settle_unit(unit: Unit) -> None:
    """Resolve a locked unit afresh from its spans and the runs that still count, and save it."""
    unit.asserted = first_assertion(unit)
    resolve(unit, covering_spans(unit))
    unit.save(update_fields=["asserted", "revision", "revision_basis"])


def look_again(run_id: int) -> Run:
    """Judge a held run afresh: what held it may be gone. A withdrawn run stays withdrawn."""
    with transaction.atomic():
        run = _locked(run_id)
        if run.state == RunState.WITHDRAWN:
            return run
        notes = judge(run.unit, covering_spans(run.unit), run.asserted, run.trace_id, run.side, run.pk)
        run.findings.filter(code__in=INTAKE_CODES).delete()
        edition = Edition.objects.get(is_current=True)
        Finding.objects.bulk_create(Finding(run=run, edition=edition, **vars(note)) for note in notes)
        holds = run.findings.filter(severity="hold").exists()
        run.state = RunState.HELD if holds else RunState.ACCEPTED
        run.save(update_fields=["state"])
        settle_unit(run.unit)
        refresh_summaries(run)
        want_check(run)
    return run


def look_again_at_model(pump_model: PumpModel) -> None:
    """Judge afresh the runs that a change of the model's spans or schemes may hold or set free."""
    touched = Q(state=RunState.HELD, findings__code__in=INTAKE_CODES) | (
        Q(state=RunState.ACCEPTED, asserted__isnull=False, unit__revision__isnull=False)
        & ~Q(asserted=F("unit__revision"))
    )
    runs = Run.objects.filter(touched, pump_model=pump_model)
    for run_id in runs.order_by("pk").values_list("pk", flat=True).distinct():
        look_again(run_id)


def _locked(run_id: int) -> Run:
    """The unit's lock comes first, as in receiving, so that the two never wait for each other."""
    unit_id = Run.objects.values_list("unit_id", flat=True).get(pk=run_id)
    unit = Unit.objects.select_for_update(no_key=True).get(pk=unit_id)
    run = Run.objects.select_related("session", "asserted").select_for_update(of=("self",)).get(pk=run_id)
    run.unit = unit
    return run


def _look_again_at_twins(run: Run) -> None:
    held = Run.objects.filter(trace=run.trace_id, side=run.side, state=RunState.HELD)
    for twin in held.order_by("pk").values_list("pk", flat=True):
        look_again(twin)
