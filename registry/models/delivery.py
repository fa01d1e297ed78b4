"""Who is told of alerts, and what is on its way to them."""

import uuid
from typing import Final

from django.db import models
from django.db.models import F, Q

from registry.models.alerts import Alert
from registry.models.catalogue import PumpModel
from registry.models.people import Clinic, Operator

SEVERITIES: Final = ("note", "caution", "urgent")


class Announcement(models.Model):
    """That an alert was raised, settled or dismissed, as it was told then: an entry of the feed.

    Written in the transaction that changes the alert. `spread_at` is when it was handed to all subscriptions
    that ask for it; None as long as it was not.
    """

    name = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    alert = models.ForeignKey(Alert, on_delete=models.CASCADE, related_name="announcements")
    event = models.CharField(max_length=10)
    document = models.JSONField(help_text="the alert as everybody may see it, as it was then")
    said_at = models.DateTimeField(auto_now_add=True)
    spread_at = models.DateTimeField(null=True)

    class Meta:
        indexes = (models.Index(fields=["id"], condition=Q(spread_at=None), name="announcements_to_spread"),)

    def __str__(self) -> str:
        return f"{self.event}: {self.alert_id}"


class Channel(models.TextChoices):
    """How somebody is told."""

    WEBHOOK = "webhook"
    EMAIL = "email"
    FEED = "feed"


class Subscription(models.Model):
    """An operator's wish to be told of alerts; what is None or "" narrows nothing down.

    `to` is the receiver's address: of a webhook, or of a mailbox (personal data of the operator; it stands
    nowhere else, and goes with the row). No secret is stored: it is made from `nonce` with the server's key.
    `former_nonces` are those of secrets that were replaced, newest first, each as [nonce, time until which it
    signs as well (ISO 8601)].
    `last_sequence` numbers the deliveries without a gap.
    """

    operator = models.ForeignKey(Operator, on_delete=models.CASCADE, related_name="subscriptions")
    channel = models.CharField(max_length=10, choices=Channel.choices)
    to = models.CharField(max_length=500, blank=True)
    pump_model = models.ForeignKey(PumpModel, null=True, on_delete=models.CASCADE, related_name="+")
    clinic = models.ForeignKey(Clinic, null=True, on_delete=models.CASCADE, related_name="+")
    rule = models.CharField(max_length=40, blank=True)
    severity = models.CharField(max_length=10, default="note", help_text="the least that is told")
    nonce = models.CharField(max_length=43, editable=False)
    former_nonces = models.JSONField(default=list, editable=False)
    is_active = models.BooleanField(default=True)
    ended_why = models.CharField(max_length=200, blank=True)
    confirmed_at = models.DateTimeField(null=True)
    created_at = models.DateTimeField(auto_now_add=True)
    last_sequence = models.PositiveBigIntegerField(default=0)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(channel="feed", to="") | (~Q(channel="feed") & ~Q(to="")),
                name="a_feed_is_fetched_and_all_else_is_sent",
            ),
            models.CheckConstraint(
                condition=Q(severity__in=SEVERITIES), name="subscription_severity_is_known"
            ),
        )

    def __str__(self) -> str:
        return f"{self.channel} {self.pk}"


class DeliveryState(models.TextChoices):
    """A delivery waits for its next try until it is delivered, or tried for too long."""

    WAITING = "waiting"
    DELIVERED = "delivered"
    GIVEN_UP = "given_up"


class Delivery(models.Model):
    """One message to one subscriber. `name` stays the same over all tries and replays; so does `payload`.

    `queued_at` is when it was last asked for: the time after which it is given up counts from there.
    """

    name = models.UUIDField(unique=True, default=uuid.uuid4, editable=False)
    subscription = models.ForeignKey(Subscription, on_delete=models.CASCADE, related_name="deliveries")
    alert = models.ForeignKey(Alert, null=True, on_delete=models.CASCADE, related_name="+")
    event = models.CharField(max_length=10)
    sequence = models.PositiveBigIntegerField()
    payload = models.TextField()
    state = models.CharField(max_length=10, choices=DeliveryState.choices, default=DeliveryState.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    next_at = models.DateTimeField()
    queued_at = models.DateTimeField()
    last_error = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField()
    delivered_at = models.DateTimeField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["subscription", "sequence"], name="one_delivery_a_sequence"),
            models.CheckConstraint(
                condition=Q(state="delivered", delivered_at__isnull=False) | ~Q(state="delivered"),
                name="delivered_has_a_time",
            ),
        )
        indexes = (models.Index(F("next_at"), condition=Q(state="waiting"), name="deliveries_waiting"),)

    def __str__(self) -> str:
        return f"{self.event} {self.name}"
