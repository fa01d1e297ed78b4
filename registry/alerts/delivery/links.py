"""Addresses that lead back to this server."""

from django.conf import settings
from django.urls import reverse

from registry.alerts.delivery.keys import feed_key, link_token
from registry.models import Subscription


def absolute(path: str) -> str:
    """A path of this server as a whole address; as it is where the server does not know its own."""
    return f"{settings.VACUARY_ADDRESS}{path}"


def alert(alert_id: int) -> str:
    """The page of an alert."""
    return absolute(reverse("page-alert", args=[alert_id]))


def confirm(subscription: Subscription) -> str:
    """Where an address is confirmed."""
    return absolute(reverse("page-confirm", args=[link_token(subscription, "confirm")]))


def leave(subscription: Subscription) -> str:
    """Where a subscription is ended by who gets its mail."""
    return absolute(reverse("page-leave", args=[link_token(subscription, "leave")]))


def feed(subscription: Subscription) -> str:
    """A subscriber's own feed."""
    return absolute(reverse("alerts-feed-own", args=[feed_key(subscription)]))
