"""Send what is due to one subscriber, in the order of its numbers, by one worker at a time.

A try is noted before it is made, together with the time of the next one, so a worker that is killed in the
middle leaves a delivery that is simply due again. Nothing is open in the database while a receiver is waited
for, save a lock of the session, which the database drops when the worker is gone.
"""

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from django.db import DatabaseError, connection
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.alerts.delivery import mails, webhooks
from registry.alerts.delivery.outcomes import NotDelivered
from registry.alerts.delivery.schedule import GIVEN_UP_AFTER, wait_after
from registry.models import Channel, Delivery, DeliveryState, Subscription

AT_ONCE: Final = 50  # deliveries a job; what is left is due again in the next minute
_LOCK: Final = 0x56414C44  # first key of the lock; the second is the subscription
_OWN_FAULT: Final = "a fault of this server; its log tells more"
_WAITING = Q(state=DeliveryState.WAITING)

log = logging.getLogger(__name__)


def subscriptions_due() -> list[int]:
    """The subscriptions to which something is due."""
    due = Delivery.objects.filter(_WAITING, next_at__lte=timezone.now(), subscription__is_active=True)
    return list(due.order_by("subscription_id").values_list("subscription_id", flat=True).distinct())


def send_due(subscription_id: int) -> int:
    """Send what is due, up to `AT_ONCE`, and return how many were delivered; 0 if another worker is at it.

    Where the receiver does not answer at all, everything else waits with what failed, so it is asked once and
    not once for each message. Where it takes something, all that waits for it becomes due: it is back.
    """
    with _alone(subscription_id) as is_mine:
        if not is_mine:
            return 0
        return sum(_send_batches(subscription_id))


def _send_batches(subscription_id: int) -> Iterator[int]:
    """Yield how many deliveries each exchange with the receiver brought over."""
    tried: list[int] = []
    while len(tried) < AT_ONCE:
        subscription = Subscription.objects.filter(pk=subscription_id, is_active=True).first()
        batch = _next(subscription, tried) if subscription else []
        if not subscription or not batch:
            return
        tried += [delivery.pk for delivery in batch]
        for part in _apart(batch):
            failure = _failure(subscription, part)
            if failure is None:
                yield len(part)
                _wake(subscription_id, tried)
            elif not failure.answers:
                _postpone(subscription_id, part[0].pk)
                return


def _apart(batch: list[Delivery]) -> list[list[Delivery]]:
    """A batch as it is; one by one where this server failed at it before, lest one keep the others back."""
    failed_here = any(delivery.last_error == _OWN_FAULT for delivery in batch)
    return [[delivery] for delivery in batch] if failed_here else [batch]


def _failure(subscription: Subscription, batch: list[Delivery]) -> NotDelivered | None:
    """Try a batch; None when it was taken. What nobody foresaw is given up some time like any failure."""
    try:
        _try(subscription, batch)
    except NotDelivered as error:
        failure = error
    except DatabaseError:
        raise  # nothing can be noted now; the try and the time of the next one are
    except Exception:
        log.exception("subscription %s: a fault on sending", subscription.pk)
        failure = NotDelivered(_OWN_FAULT, answers=True)
    else:
        return None
    _note_failure(subscription, batch, failure)
    return failure


def _next(subscription: Subscription, tried: Sequence[int]) -> list[Delivery]:
    """What goes out with the next exchange: one message to a webhook, all that is due in one mail."""
    due = Delivery.objects.filter(_WAITING, subscription=subscription, next_at__lte=timezone.now())
    ordered = list(due.exclude(pk__in=tried).order_by("sequence")[: AT_ONCE - len(tried)])
    if subscription.channel == Channel.EMAIL and ordered and ordered[0].event != "confirm":
        return [delivery for delivery in ordered if delivery.event != "confirm"]
    return ordered[:1]


def _try(subscription: Subscription, batch: list[Delivery]) -> None:
    now = timezone.now()
    for delivery in batch:
        delivery.attempts += 1
        delivery.next_at = now + wait_after(delivery.attempts)
        delivery.save(update_fields=["attempts", "next_at"])
    if subscription.channel == Channel.EMAIL:
        mails.send(subscription, batch)
    else:
        webhooks.send(subscription, batch[0], now)
    for delivery in batch:
        _still(delivery).update(state=DeliveryState.DELIVERED, delivered_at=timezone.now(), last_error="")


def _note_failure(subscription: Subscription, batch: Sequence[Delivery], failure: NotDelivered) -> None:
    """Note why, and when it is tried again; or give up, or end the subscription."""
    now = timezone.now()
    for delivery in batch:
        gives_up = now - delivery.queued_at >= GIVEN_UP_AFTER
        _still(delivery).update(
            state=DeliveryState.GIVEN_UP if gives_up else DeliveryState.WAITING,
            next_at=now + wait_after(delivery.attempts, failure.asked),
            last_error=failure.why[:300],
        )
    if failure.is_gone:
        Subscription.objects.filter(pk=subscription.pk).update(is_active=False, ended_why=failure.why)
    log.info("subscription %s: %s", subscription.pk, failure.why)


def _still(delivery: Delivery) -> QuerySet[Delivery]:
    """The delivery's row, unless somebody asked for it again since this try began: then it goes once more."""
    return Delivery.objects.filter(pk=delivery.pk, attempts=delivery.attempts, queued_at=delivery.queued_at)


def _postpone(subscription_id: int, failed: int) -> None:
    """Let all that is due to a receiver that does not answer wait as long as what was just tried."""
    again = Delivery.objects.filter(pk=failed, state=DeliveryState.WAITING).values_list("next_at", flat=True)
    for next_at in again:
        waiting = Delivery.objects.filter(_WAITING, subscription=subscription_id, next_at__lt=next_at)
        waiting.update(next_at=next_at)


def _wake(subscription_id: int, tried: Sequence[int]) -> None:
    """Make due what waits because of earlier failures; what just failed keeps its time."""
    waiting = Delivery.objects.filter(_WAITING, subscription=subscription_id, next_at__gt=timezone.now())
    waiting.exclude(pk__in=tried).update(next_at=timezone.now())


@contextmanager
def _alone(subscription_id: int) -> Iterator[bool]:
    """Whether this is the one worker that sends to this subscription for now."""
    keys = [_LOCK, subscription_id % 2**31]
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_lock(%s, %s)", keys)
        is_mine = bool(cursor.fetchone()[0])
    try:
        yield is_mine
    finally:
        if is_mine:
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_unlock(%s, %s)", keys)
