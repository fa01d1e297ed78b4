"""Make another edition the current one, in one step."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection, transaction
from django.db.models import F, QuerySet
from procrastinate.exceptions import AlreadyEnqueued

from registry.alerts.tasks import scan_all
from registry.answers.stamp import current_edition
from registry.errors import Conflict
from registry.intake.findings import INTAKE_CODES
from registry.intake.locks import lock_everything_for_switch, lock_units
from registry.intake.rejudge import rejudge
from registry.intake.remeasuring.portions import left_under, measure_under, remeasure_some, with_gauges
from registry.intake.remeasuring.rows import write_outcomes
from registry.models import Edition, PumpModel, Run, RunState
from registry.waveform.editions import edition_of

# Uploads go on while an edition is measured; so many latecomers a switch measures itself, not more.
STRAGGLERS = 100
_JUDGED_AT_ONCE = 500
# What intake found is no matter of editions: it follows the current one.
_CARRY_FINDINGS = """
WITH gone AS (
    DELETE FROM registry_finding WHERE edition_id = %(new)s AND code = ANY(%(codes)s)
)
INSERT INTO registry_finding (run_id, edition_id, code, severity, message, hint, at_s)
SELECT run_id, %(new)s, code, severity, message, hint, at_s FROM registry_finding
WHERE edition_id = %(old)s AND code = ANY(%(codes)s) ORDER BY id
"""
_CARRY_READ = """
UPDATE registry_run r SET read = e.read FROM registry_runedition e
WHERE e.run_id = r.id AND e.edition_id = %(new)s AND r.read IS DISTINCT FROM e.read
"""
_CHANGED = """
SELECT r.id FROM registry_run r
WHERE r.state <> 'withdrawn' AND (r.state = 'held') <> EXISTS (
    SELECT 1 FROM registry_finding f
    WHERE f.run_id = r.id AND f.edition_id = %(new)s AND f.severity = 'hold'
) ORDER BY r.id
"""


@dataclass(frozen=True)
class Switched:
    """What a switch did: from which edition to which, and how many runs it held, set free and measured."""

    old: int
    new: int
    held: int = 0
    freed: int = 0
    stragglers: int = 0


def switch(edition: int) -> Switched:
    """Make an edition the current one, with the states, units and summaries that follow from it.

    Uploads wait meanwhile and are then measured under the new edition. Doing it twice changes nothing.
    Raises KeyError for an unknown edition, Conflict while more than STRAGGLERS runs are not measured.
    """
    edition_of(edition)
    if current_edition() == edition:
        return Switched(edition, edition)
    _refuse_unfinished(edition)
    stragglers = remeasure_some(edition, STRAGGLERS)
    with transaction.atomic():
        lock_everything_for_switch()
        if (old := current_edition()) == edition:
            return Switched(edition, edition)
        _refuse_unfinished(edition)
        stragglers += _measure_latecomers(edition)
        _point_to(old, edition)
        moved = _judge_changed(edition)
        _check_all()
    return Switched(old, edition, moved[RunState.HELD], moved[RunState.ACCEPTED], stragglers)


def _refuse_unfinished(edition: int) -> None:
    left = left_under(edition).count()
    if left > STRAGGLERS:
        raise Conflict(
            f"{left} runs are not measured under edition {edition} yet",
            hint=f"Let manage.py remeasure --edition {edition} finish first.",
            extra={"left": left},
        )


def _measure_latecomers(edition: int) -> int:
    runs = with_gauges(list(left_under(edition).values_list("pk", flat=True)))
    return write_outcomes(edition, [measure_under(run, edition) for run in runs]) if runs else 0


def _point_to(old: int, new: int) -> None:
    """Move the mark and all that belongs to the current edition; tell uploads by the models' version."""
    Edition.objects.filter(number=old).update(is_current=False)
    Edition.objects.filter(number=new).update(is_current=True)
    PumpModel.objects.update(catalogue_version=F("catalogue_version") + 1)
    with connection.cursor() as cursor:
        cursor.execute(_CARRY_FINDINGS, {"old": old, "new": new, "codes": list(INTAKE_CODES)})
        cursor.execute(_CARRY_READ, {"new": new})


def _judge_changed(edition: int) -> Counter[str]:
    """Judge the runs whose state is another now, then those held because of one; count by new state."""
    with connection.cursor() as cursor:
        cursor.execute(_CHANGED, {"new": edition})
        numbers = [number for (number,) in cursor.fetchall()]
    moved: Counter[str] = Counter()
    for runs in _portions(Run.objects.all(), numbers):
        moved += _judge(runs)
        units = {run.unit_id for run in runs if run.asserted_id is not None}
        held = Run.objects.filter(unit__in=units, state=RunState.HELD, findings__code__in=INTAKE_CODES)
        moved += _judge(list(held.select_related("session", "asserted").distinct()))
    return moved


def _judge(runs: list[Run]) -> Counter[str]:
    before = {run.pk: run.state for run in runs}
    rejudge(runs, lock_units(run.unit_id for run in runs))
    return Counter(run.state for run in runs if run.state != before[run.pk])


def _portions(runs: QuerySet[Run], numbers: list[int]) -> Iterator[list[Run]]:
    told = runs.select_related("session", "asserted")
    for start in range(0, len(numbers), _JUDGED_AT_ONCE):
        yield list(told.filter(pk__in=numbers[start : start + _JUDGED_AT_ONCE]))


def _check_all() -> None:
    """Have every alert rule look at the summaries of the new edition."""
    try:
        with transaction.atomic():
            scan_all.configure().defer(timestamp=0)
    except AlreadyEnqueued:
        return  # it has not begun, and so will see the new edition
