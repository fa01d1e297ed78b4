"""Subscriptions and deliveries as the API shows them to their owner."""

from typing import Any

from django.utils import timezone

from registry.alerts.delivery import links
from registry.alerts.delivery.keys import still_signing, webhook_secret
from registry.models import Channel, Delivery, Subscription


def subscription_document(subscription: Subscription, *, is_new: bool = False) -> dict[str, Any]:
    """Return a subscription; a webhook's secret and a feed's address only when they have just been made."""
    former = still_signing(subscription, timezone.now())
    document = {
        "id": subscription.pk,
        "channel": subscription.channel,
        "to": subscription.to,
        "model": subscription.pump_model.name if subscription.pump_model else None,
        "clinic": subscription.clinic.code if subscription.clinic else None,
        "rule": subscription.rule or None,
        "severity": subscription.severity,
        "state": state_of(subscription),
        "ended_why": subscription.ended_why,
        "sequence": subscription.last_sequence,
        "created_at": subscription.created_at,
        "former_secret_until": former[0][1] if former else None,
    }
    if is_new and subscription.channel == Channel.WEBHOOK:
        document["secret"] = webhook_secret(subscription)
    if is_new and subscription.channel == Channel.FEED:
        document["feed"] = links.feed(subscription)
    return document


def state_of(subscription: Subscription) -> str:
    """Return active, unconfirmed (mail waits for its owner's word), paused, or ended (by the receiver)."""
    if not subscription.is_active:
        return "ended" if subscription.ended_why else "paused"
    return "active" if subscription.confirmed_at else "unconfirmed"


def delivery_document(delivery: Delivery) -> dict[str, Any]:
    """Return what became of one message."""
    waiting = delivery.state == "waiting"
    return {
        "id": delivery.name.hex,
        "sequence": delivery.sequence,
        "event": delivery.event,
        "alert": delivery.alert_id,
        "state": delivery.state,
        "attempts": delivery.attempts,
        "next_at": delivery.next_at if waiting else None,
        "last_error": delivery.last_error,
        "created_at": delivery.created_at,
        "delivered_at": delivery.delivered_at,
    }
