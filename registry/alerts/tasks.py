"""Queued work of the alerts. Deferred in the transaction of an upload, done by any worker on any host."""

from django.db import transaction
from procrastinate import RetryStrategy
from procrastinate.contrib.django import app
from procrastinate.exceptions import AlreadyEnqueued

from registry.alerts.scan import scan_community, scan_gauge
from registry.models import Run

_RETRY = RetryStrategy(max_attempts=5, exponential_wait=4)


@app.task(retry=_RETRY)
def check_run(run_id: int) -> None:
    """Have the gauge of a new or withdrawn run checked, once for a whole sweep of uploads.

    A run without a declared gauge tells nothing of gauges or units and is left.
    """
    gauge_id = Run.objects.filter(pk=run_id).values_list("session__gauge_id", flat=True).first()
    if gauge_id is None:
        return
    try:
        with transaction.atomic():
            check_gauge.configure(queueing_lock=f"check-gauge-{gauge_id}").defer(gauge_id=gauge_id)
    except AlreadyEnqueued:
        # A check that has not begun yet will see this run too.
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
