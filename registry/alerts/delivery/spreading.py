"""Hand an announcement to all subscriptions that ask for it.

This comes after the transaction that changed the alert, in one of its own, so that numbering deliveries keeps
no writer of alerts waiting.
"""

import json
from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.models import Alert, Announcement, Channel, Delivery, Subscription
from registry.models.delivery import SEVERITIES

# An announcement that has waited for so long lost its job.
LEFT_AFTER: Final = timedelta(minutes=2)
_AT_ONCE: Final = 500


def spread_one(announcement_id: int) -> list[int]:
    """Queue an announcement for all who ask for it; return their subscriptions. Twice is once."""
    with transaction.atomic():
        unspread = Announcement.objects.select_for_update().filter(pk=announcement_id, spread_at=None)
        said = unspread.select_related("alert").first()
        if said is None:
            return []
        told = list(askers(said).select_for_update().order_by("pk"))
        enqueue(told, said.event, {"alert": said.document}, said.said_at, alert=said.alert)
        said.spread_at = timezone.now()
        said.save(update_fields=["spread_at"])
    return [subscription.pk for subscription in told]


def askers(said: Announcement) -> QuerySet[Subscription]:
    """The subscriptions to which an announcement is sent."""
    alert = said.alert
    return Subscription.objects.filter(
        Q(pump_model=None) | Q(pump_model=alert.pump_model_id),
        Q(clinic=None) | Q(clinic=alert.clinic_id),
        rule__in=("", alert.rule),
        severity__in=SEVERITIES[: _rank(alert.severity) + 1],
        is_active=True,
        operator__is_active=True,
        confirmed_at__lte=said.said_at,
    ).exclude(channel=Channel.FEED)


def enqueue(
    told: Iterable[Subscription],
    event: str,
    data: dict[str, Any],
    at: datetime,
    alert: Alert | None = None,
) -> list[Delivery]:
    """Store one delivery for each subscription, whose rows the caller has locked, numbered without a gap."""
    now = timezone.now()
    deliveries = []
    for subscription in told:
        subscription.last_sequence += 1
        subscription.save(update_fields=["last_sequence"])
        deliveries.append(
            Delivery(
                subscription=subscription,
                alert=alert,
                event=event,
                sequence=subscription.last_sequence,
                payload=_payload(subscription, event, data, at),
                next_at=now,
                queued_at=now,
                created_at=at,
            )
        )
    return Delivery.objects.bulk_create(deliveries)


def left_behind() -> list[int]:
    """Announcements that were not spread although there was time enough."""
    old = Announcement.objects.filter(spread_at=None, said_at__lt=timezone.now() - LEFT_AFTER)
    return list(old.order_by("pk").values_list("pk", flat=True)[:_AT_ONCE])


def _payload(subscription: Subscription, event: str, data: dict[str, Any], at: datetime) -> str:
    """The body, as it will be sent each time: the same bytes under the same id."""
    document = {
        "type": f"alert.{event}",
        "timestamp": at.isoformat(timespec="milliseconds"),
        "data": {"subscription": subscription.pk, "sequence": subscription.last_sequence, **data},
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"))


def _rank(severity: str) -> int:
    """An unknown severity counts as the highest: better told once too often."""
    return SEVERITIES.index(severity) if severity in SEVERITIES else len(SEVERITIES) - 1
