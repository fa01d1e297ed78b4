"""Queued work of intake: remeasuring portions, and taking up what a killed worker left."""

import logging

from procrastinate import JobContext, RetryStrategy
from procrastinate.contrib.django import app
from procrastinate.exceptions import ConnectorException, UniqueViolation
from procrastinate.jobs import Job, Status

from registry.intake.remeasuring.portions import remeasure

REMEASURING = "remeasuring"
_RETRY = RetryStrategy(max_attempts=5, exponential_wait=4)
_MOST_ATTEMPTS = 10  # a job that ended that many workers is not given to another

log = logging.getLogger(__name__)


# Checks of fresh uploads go before: a whole registry may wait to be remeasured.
@app.task(queue=REMEASURING, priority=-10, retry=_RETRY)
def remeasure_portion(edition: int, first: int, last: int) -> None:
    """Measure the runs numbered first to last under an edition. Doing it twice changes nothing."""
    remeasure(edition, first, last)


@app.periodic(cron="* * * * *")
@app.task(queueing_lock="take-up-stalled", pass_context=True)
async def take_up_stalled(context: JobContext, timestamp: int) -> None:  # noqa: ARG001 - the queue's time
    """Give the jobs of workers that were killed to others, every minute."""
    for job in await context.app.job_manager.get_stalled_jobs():
        try:
            await _take_up(context, job)
        except ConnectorException:  # another worker took it up just now
            log.info("stalled job %s is taken up elsewhere", job.id)


async def _take_up(context: JobContext, job: Job) -> None:
    manager = context.app.job_manager
    if job.attempts >= _MOST_ATTEMPTS:
        log.error("job %s (%s) ended %s workers and is given up", job.id, job.call_string, job.attempts)
        await manager.finish_job(job, status=Status.FAILED, delete_job=False)
        return
    try:
        await manager.retry_job(job)
    except UniqueViolation:  # the same work waits already
        await manager.finish_job(job, status=Status.ABORTED, delete_job=True)
