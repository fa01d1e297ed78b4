"""Store what runs measured as under another edition, and keep what they are under the current one."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import connection, transaction
from django.utils import timezone

from registry.answers.stamp import current_edition
from registry.intake.findings import INTAKE_CODES, Noted
from registry.intake.locks import lock_units, share_editions
from registry.intake.measure import Taken
from registry.intake.remeasuring.cells import fill_cells
from registry.intake.rows import store_findings, store_taken
from registry.models import Edition, Finding, Run, RunEdition
from registry.waveform.editions import edition_of

# Worth another try: the trace storage may have been away, or the program at fault.
PASSING = ("fault", "trace_missing", "trace_damaged")
# What uploads left unsaid because it is the current edition; see RunEdition.
_KEEP_CURRENT = """
INSERT INTO registry_runedition (run_id, edition_id, holds, read, refused, measured_at)
SELECT r.id, e.number, EXISTS (
           SELECT 1 FROM registry_finding f
           WHERE f.run_id = r.id AND f.edition_id = e.number AND f.severity = 'hold' AND f.code <> ALL(%s)
       ), r.read, '', r.created_at
FROM registry_run r, registry_edition e
WHERE r.id = ANY(%s) AND e.is_current
ON CONFLICT (run_id, edition_id) DO NOTHING
"""


@dataclass(frozen=True)
class Outcome:
    """What a run is under an edition. Where that cannot be told, `taken` is None and `refused` a code."""

    run: Run
    taken: Taken | None
    findings: tuple[Noted, ...]
    refused: str = ""

    @property
    def holds(self) -> bool:
        """Whether measuring holds the run."""
        return any(finding.severity == "hold" for finding in self.findings)


def store_outcomes(edition: int, outcomes: Sequence[Outcome]) -> int:
    """Store outcomes in one transaction, with the summaries of their cells; return how many were new."""
    if not outcomes:
        return 0
    with transaction.atomic():
        share_editions()
        if current_edition() == edition:  # switched to meanwhile, and so done
            return 0
        return write_outcomes(edition, outcomes)


def write_outcomes(edition: int, outcomes: Sequence[Outcome]) -> int:
    """Write outcomes for a caller whose transaction holds the editions' lock, shared or alone."""
    lock_units(outcome.run.unit_id for outcome in outcomes)
    runs = [outcome.run.pk for outcome in outcomes]
    done = set(RunEdition.objects.filter(edition=edition, run__in=runs).values_list("run_id", flat=True))
    fresh = [outcome for outcome in outcomes if outcome.run.pk not in done]
    with connection.cursor() as cursor:
        cursor.execute(_KEEP_CURRENT, [list(INTAKE_CODES), runs])
    now = timezone.now()
    RunEdition.objects.bulk_create(
        RunEdition(
            run=outcome.run,
            edition_id=edition,
            holds=outcome.holds,
            read=outcome.taken.measured.understood.as_dict() if outcome.taken else outcome.run.read,
            refused=outcome.refused,
            measured_at=now,
        )
        for outcome in fresh
    )
    store_findings(edition, ((o.run.pk, finding) for o in fresh for finding in o.findings))
    store_taken(edition, ((o.run.pk, o.taken) for o in fresh if o.taken is not None))
    fill_cells(edition, [outcome.run.pk for outcome in fresh])
    return len(fresh)


def bring_edition(edition: int) -> None:
    """Make an edition that the program knows storable. Raises KeyError for one it does not know."""
    edition_of(edition)
    Edition.objects.get_or_create(number=edition)


@transaction.atomic
def forget_passing(edition: int) -> int:
    """Forget refusals that may have passed, so that those runs are tried again; return how many."""
    share_editions()
    rows = RunEdition.objects.filter(edition=edition, edition__is_current=False, refused__in=PASSING)
    runs = list(rows.values_list("run_id", flat=True))
    Finding.objects.filter(run__in=runs, edition=edition).delete()
    return rows.delete()[0]
