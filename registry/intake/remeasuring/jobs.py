"""Portions of runs in the queue: asked for without doubling, and how far the work is."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from django.db import connection, transaction
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued
from procrastinate.jobs import Job

from registry.intake.remeasuring.portions import left_under, portion_lock
from registry.intake.tasks import REMEASURING, remeasure_portion
from registry.models import Run

_QUEUED_AT_ONCE = 500
_APART = 8  # neighbouring runs are often of one unit, so neighbouring portions are not done side by side
_WAITING = """
SELECT queueing_lock FROM procrastinate_jobs
WHERE status = 'todo' AND queue_name = %s AND (args ->> 'edition')::int = %s
"""
_WORKED_ON = """
SELECT objid::bigint FROM pg_locks
WHERE locktype = 'advisory' AND classid = %s AND objsubid = 2
  AND database = (SELECT oid FROM pg_database WHERE datname = current_database())
"""


@dataclass(frozen=True)
class Progress:
    """How many runs there are and are left under an edition; how many portions wait, or are in hand."""

    runs: int
    left: int
    waiting: int
    in_hand: int


def progress(edition: int) -> Progress:
    """Return how far an edition is."""
    left = left_under(edition).count()
    return Progress(Run.objects.count(), left, len(_waiting(edition)), len(_in_hand(edition)))


def ask_for(edition: int, portion: int) -> int:
    """Have the queue measure what is left under an edition, `portion` run numbers a job.

    Portions that wait already, or that somebody works on, are left alone. Returns how many were asked for.
    """
    waiting, in_hand = _waiting(edition), _in_hand(edition)
    portions = (
        job
        for first in _portions_left(edition, portion)
        if portion_lock(edition, first)[1] not in in_hand
        and (job := _job(edition, first, portion)).queueing_lock not in waiting
    )
    count = 0
    while batch := list(islice(portions, _QUEUED_AT_ONCE)):
        count += _defer([job for start in range(_APART) for job in batch[start::_APART]])
    return count


def _portions_left(edition: int, portion: int) -> Iterator[int]:
    """The first run number of each portion that holds a run not done. Portions begin at the same numbers
    however often they are asked for, or one would be asked for under two names."""
    left = left_under(edition).order_by("pk").values_list("pk", flat=True)
    last = None
    for number in left.iterator(chunk_size=10_000):
        first = (number - 1) // portion * portion + 1
        if first != last:
            yield first
        last = first


def _job(edition: int, first: int, portion: int) -> Job:
    last = first + portion - 1
    deferrer = remeasure_portion.configure(queueing_lock=f"remeasure-{edition}-{first}-{last}")
    job: Job = deferrer.make_new_job(edition=edition, first=first, last=last)
    return job


def _defer(jobs: Sequence[Job]) -> int:
    """Queue jobs; whatever of them somebody else queued just now is left out."""
    try:
        with transaction.atomic():
            return len(app.job_manager.batch_defer_jobs(list(jobs)))
    except AlreadyEnqueued:
        if len(jobs) == 1:
            return 0
        middle = len(jobs) // 2
        return _defer(jobs[:middle]) + _defer(jobs[middle:])


def _waiting(edition: int) -> set[str]:
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, [REMEASURING, edition])
        return {lock for (lock,) in cursor.fetchall()}


def _in_hand(edition: int) -> set[int]:
    """The second keys of the locks that those at work on the edition hold or wait for."""
    with connection.cursor() as cursor:
        cursor.execute(_WORKED_ON, [portion_lock(edition, 0)[0]])
        return {key for (key,) in cursor.fetchall()}
