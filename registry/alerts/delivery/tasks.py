"""Queued work of delivery. Doing any of it twice does no harm, so jobs of killed workers are redone."""

from procrastinate import RetryStrategy
from procrastinate.contrib.django import app

from registry.alerts.delivery import sending, spreading, tidying

# After the checks of fresh uploads, before remeasuring: a slow receiver must not hold up a check.
_PRIORITY = -5
_RETRY = RetryStrategy(max_attempts=5, exponential_wait=4)


@app.task(priority=_PRIORITY, retry=_RETRY)
def spread(announcement_id: int) -> None:
    """Hand an announcement to all who ask for such, and have it sent."""
    for subscription_id in spreading.spread_one(announcement_id):
        send.defer(subscription_id=subscription_id)


@app.task(priority=_PRIORITY)
def send(subscription_id: int) -> None:
    """Send what is due to one subscriber. What fails is tried again by `look_after`, not by the queue."""
    if sending.send_due(subscription_id) >= sending.AT_ONCE:
        send.defer(subscription_id=subscription_id)


@app.periodic(cron="* * * * *")
@app.task(queueing_lock="look-after-deliveries", priority=_PRIORITY)
def look_after(timestamp: int = 0) -> None:  # noqa: ARG001 - the queue hands over when it was meant to run
    """Every minute: have sent what has become due, and hand out what a lost job left behind."""
    for announcement_id in spreading.left_behind():
        spread.defer(announcement_id=announcement_id)
    for subscription_id in sending.subscriptions_due():
        send.defer(subscription_id=subscription_id)


@app.periodic(cron="41 3 * * *")
@app.task(queueing_lock="tidy-deliveries", priority=_PRIORITY, retry=_RETRY)
def tidy(timestamp: int = 0) -> None:  # noqa: ARG001 - as above
    """Every night: drop what is too old to be sent again, and addresses that nobody confirmed."""
    tidying.tidy()
