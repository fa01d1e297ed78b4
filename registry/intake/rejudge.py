"""Judge stored runs afresh: what held one may be gone, and what was fine may stand against a new span."""

from collections.abc import Iterable

from django.db.models import Q, prefetch_related_objects

from registry.intake.findings import INTAKE_CODES
from registry.intake.judge import judge
from registry.intake.locks import lock_units
from registry.intake.summaries import refresh_summaries
from registry.intake.units import covering_spans, first_assertion, resolve
from registry.models import Edition, Finding, PumpModel, Run, RunState, Unit

# Whatever intake noted about a run may be settled now, and what a run asserts may stand against a span.
_TOUCHED = """
SELECT r.* FROM registry_run r JOIN registry_unit u ON u.id = r.unit_id
WHERE r.pump_model_id = %(model)s AND r.state <> 'withdrawn' AND (
    EXISTS (SELECT 1 FROM registry_finding f WHERE f.run_id = r.id AND f.code = ANY(%(codes)s))
    OR r.asserted_id <> u.revision_id
    OR EXISTS (
        SELECT 1 FROM registry_serialspan s
        WHERE s.scheme_id = u.scheme_id AND s.series = u.series AND s.keys @> u.key
          AND s.revision_id <> r.asserted_id
    )
)
"""


def settle_unit(unit: Unit) -> None:
    """Resolve a locked unit afresh from its spans and the runs that still count, and save it."""
    unit.asserted = first_assertion(unit)
    resolve(unit, covering_spans(unit))
    unit.save(update_fields=["asserted", "revision", "revision_basis"])


def rejudge(runs: Iterable[Run], units: dict[int, Unit]) -> set[tuple[int, int | None]]:
    """Judge stored runs that are not withdrawn, oldest first. Their `units` are locked.

    Returns the pump models and gauges of the runs whose state changed, for the caller to have them checked.
    """
    changed: set[tuple[int, int | None]] = set()
    edition = Edition.objects.get(is_current=True)
    for run in sorted(runs, key=lambda run: run.pk):
        unit = units[run.unit_id]
        column = run.read.get("vacuum_column", "")
        notes = judge(unit, covering_spans(unit), run.asserted, run.trace_id, run.side, column, run.pk)
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
        changed.add((run.pump_model_id, run.session.gauge_id))
    return changed


def held_with(run: Run) -> list[Run]:
    """Return the runs that may be held because of `run`: of the same unit or the same trace."""
    held = Q(state=RunState.HELD, findings__code__in=INTAKE_CODES)
    near = Q(unit=run.unit_id) | Q(trace=run.trace_id)
    return list(
        Run.objects.select_related("session", "asserted").filter(held & near).exclude(pk=run.pk).distinct()
    )


def rejudge_model(pump_model: PumpModel) -> set[tuple[int, int | None]]:
    """Judge afresh the runs that a change of the model's spans or schemes may touch.

    The caller has the model alone. Returns what `rejudge` does.
    """
    runs = list(Run.objects.raw(_TOUCHED, {"model": pump_model.pk, "codes": list(INTAKE_CODES)}))
    prefetch_related_objects(runs, "session", "asserted")
    return rejudge(runs, lock_units(run.unit_id for run in runs))
