"""Queued work of the alerts: asked for in the transaction of an upload, done by any worker on any host."""

from collections.abc import Iterable

from django.db import connection, transaction
from procrastinate import RetryStrategy
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

from registry.alerts.scan import scan_community, scan_gauge

# A sweep is judged when it pauses, not upload by upload.
CALM_S = 3
_RETRY = RetryStrategy(max_attempts=5, exponential_wait=4)
_WAITING = """
SELECT 1 FROM procrastinate_jobs WHERE queueing_lock = %s AND status = 'todo' FOR KEY SHARE
"""


def want_checks(gauge_ids: Iterable[int | None]) -> None:
    """Have gauges checked after the present transaction; a whole sweep of runs costs one check.

    A check that waits already will do, for it cannot begin before this transaction has ended: workers pass
    over a job somebody holds. None stands for a run without a declared gauge, which tells nothing of gauges
    or units. Called once and last in a transaction, so that jobs are locked in one order and after all else.
    """
    for gauge_id in sorted({gauge_id for gauge_id in gauge_ids if gauge_id is not None}):
        _want_check(gauge_id)


def _want_check(gauge_id: int) -> None:
    while not _is_waiting(gauge_id):
        try:
            with transaction.atomic():
                check_gauge.configure(queueing_lock=_lock(gauge_id), schedule_in={"seconds": CALM_S}).defer(
                    gauge_id=gauge_id
                )
        except AlreadyEnqueued:
            continue  # another upload asked just now; hold its check, or ask again if it has begun
        return


@app.task(retry=_RETRY)
def check_gauge(gauge_id: int) -> None:
    """Judge one gauge and the units it read. Doing it twice changes nothing."""
    scan_gauge(gauge_id)


@app.periodic(cron="23 3 * * *")
@app.task(queueing_lock="scan-all", retry=_RETRY)
def scan_all(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Judge the whole community, every night."""
    scan_community()


def _lock(gauge_id: int) -> str:
    return f"check-gauge-{gauge_id}"


def _is_waiting(gauge_id: int) -> bool:
    """Whether a check of the gauge waits in the queue; if so it is held until this transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, [_lock(gauge_id)])
        return cursor.fetchone() is not None
