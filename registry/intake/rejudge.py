"""Judge stored runs afresh: what held one may be gone, and what was fine may stand against a new span."""

from collections.abc import Iterable

from django.db.models import F, Q, QuerySet

from registry.alerts.tasks import want_check
from registry.intake.findings import INTAKE_CODES
from registry.intake.judge import judge
from registry.intake.locks import lock_units
from registry.intake.summaries import refresh_summaries
from registry.intake.units import covering_spans, first_assertion, resolve
from registry.models import Edition, Finding, PumpModel, Run, RunState, Unit


def settle_unit(unit: Unit) -> None:
    """Resolve a locked unit afresh from its spans and the runs that still count, and save it."""
    unit.asserted = first_assertion(unit)
    resolve(unit, covering_spans(unit))
    unit.save(update_fields=["asserted", "revision", "revision_basis"])


def rejudge(runs: Iterable[Run], units: dict[int, Unit]) -> None:
    """Judge stored runs one by one, oldest first. Their `units` are locked; a withdrawn run stays so."""
    edition = Edition.objects.get(is_current=True)
    for run in sorted(runs, key=lambda run: run.pk):
        unit = units[run.unit_id]
        notes = judge(unit, covering_spans(unit), run.asserted, run.trace_id, run.side, run.pk)
        own = run.findings.filter(edition=edition)
        own.filter(code__in=INTAKE_CODES).delete()
        Finding.objects.bulk_create(Finding(run=run, edition=edition, **vars(note)) for note in notes)
        holds = own.filter(severity="hold").exists()
        state = RunState.HELD if holds else RunState.ACCEPTED
        if run.state == state:
            continue
        run.state = state
        run.save(update_fields=["state"])
        settle_unit(unit)
        refresh_summaries(run)
        want_check(run)


def held_with(run: Run) -> list[Run]:
    """Return the runs that may be held because of `run`: of the same unit, or of the same trace and side."""
    held = Q(state=RunState.HELD, findings__code__in=INTAKE_CODES)
    near = Q(unit=run.unit_id) | Q(trace=run.trace_id, side=run.side)
    return list(_complete().filter(held & near).exclude(pk=run.pk).distinct())


def rejudge_model(pump_model: PumpModel) -> None:
    """Judge afresh the runs that a change of the model's spans or schemes may hold or set free.

    The caller has the model alone.
    """
    touched = Q(state=RunState.HELD, findings__code__in=INTAKE_CODES) | (
        Q(state=RunState.ACCEPTED, asserted__isnull=False, unit__revision__isnull=False)
        & ~Q(asserted=F("unit__revision"))
    )
    runs = list(_complete().filter(touched, pump_model=pump_model).distinct())
    rejudge(runs, lock_units(run.unit_id for run in runs))


def _complete() -> QuerySet[Run]:
    return Run.objects.select_related("session", "asserted")
