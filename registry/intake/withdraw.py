"""Take a run out of all answers, for a reason; and look again at the runs that were held because of it."""

from django.db import transaction
from django.utils import timezone

from registry.alerts.tasks import want_checks
from registry.errors import Conflict, Fault, Invalid, NotPermitted
from registry.intake.locks import lock_trace, lock_units, share_model
from registry.intake.rejudge import held_with, rejudge, settle_unit
from registry.intake.summaries import refresh_summaries
from registry.models import Operator, Run, RunState


def withdraw(run_id: int, operator: Operator, why: str) -> Run:
    """Withdraw a run of the operator's own clinic; a curator may withdraw any.

    Raises NotPermitted, Invalid without a reason, Conflict when it is withdrawn already.
    """
    run = Run.objects.get(pk=run_id)
    why = " ".join(why.split())
    _check(run, operator, why)
    with transaction.atomic():
        share_model(run.pump_model_id)
        lock_trace(run.trace_id)
        units = lock_units([run.unit_id, *(other.unit_id for other in held_with(run))])
        run = Run.objects.select_related("session").select_for_update(of=("self",)).get(pk=run_id)
        if run.state == RunState.WITHDRAWN:
            raise Conflict(f"Run {run.pk} is withdrawn already: {run.withdrawn_why}")
        run.state, run.withdrawn_at = RunState.WITHDRAWN, timezone.now()
        run.withdrawn_by, run.withdrawn_why = operator, why[:300]
        run.save(update_fields=["state", "withdrawn_at", "withdrawn_by", "withdrawn_why"])
        settle_unit(units[run.unit_id])
        refresh_summaries(run)
        near = [other for other in held_with(run) if other.unit_id in units]
        want_checks([(run.pump_model_id, run.session.gauge_id), *rejudge(near, units)])
    return run


def _check(run: Run, operator: Operator, why: str) -> None:
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
