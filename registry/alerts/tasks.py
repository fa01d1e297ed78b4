"""Queued work of the alerts: asked for in the transaction of an upload, done by any worker on any host."""

from collections.abc import Iterable

from django.db import connection, transaction
from procrastinate import RetryStrategy
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed

# A sweep is judged when it pauses, not upload by upload.
CALM_S = 3
_RETRY = RetryStrategy(max_attempts=5, exponential_wait=4)
_WAITING = """
SELECT 1 FROM procrastinate_jobs WHERE queueing_lock = %s AND status = 'todo' FOR KEY SHARE
"""


def want_checks(read: Iterable[tuple[int, int | None]]) -> None:
    """Have checked what runs bear on, after the present transaction; a whole sweep of runs costs one check.

    `read` holds the pump model of each run and its gauge, None for an undeclared one. A check that waits
    already will do, for it cannot begin before this transaction has ended: workers pass over a job somebody
    holds. Called once and last in a transaction, so that jobs are locked in one order and after all else.
    """
    for pump_model, gauge in sorted(set(read), key=lambda one: (one[0], one[1] or 0)):
        _want_check(pump_model, gauge)


def _want_check(pump_model: int, gauge: int | None) -> None:
    lock = f"check-{pump_model}-{gauge or 0}"
    while not _is_waiting(lock):
        try:
            with transaction.atomic():
                check_runs.configure(queueing_lock=lock, schedule_in={"seconds": CALM_S}).defer(
                    pump_model=pump_model, gauge=gauge
                )
        except AlreadyEnqueued:
            continue  # another upload asked just now; hold its check, or ask again if it has begun
        return


@app.task(retry=_RETRY)
def check_runs(pump_model: int, gauge: int | None) -> None:
    """Judge what runs of a pump model, read with a gauge, bear on. Doing it twice changes nothing."""
    check(Changed(pump_model, gauge))


@app.periodic(cron="23 3 * * *")
@app.task(queueing_lock="scan-all", retry=_RETRY)
def scan_all(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Judge the whole community, every night."""
    scan_community()


def _is_waiting(lock: str) -> bool:
    """Whether a check waits in the queue; if so it is held until this transaction ends."""
    with connection.cursor() as cursor:
        cursor.execute(_WAITING, [lock])
        return cursor.fetchone() is not None
