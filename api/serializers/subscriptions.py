"""Subscriptions to alerts: what they are made of, and what became of each message."""

from typing import Any

from rest_framework import serializers

from api.serializers.strict import Strict
from registry.alerts.delivery.announcing import EVENTS
from registry.models import Channel, DeliveryState
from registry.models.delivery import SEVERITIES

STATES = ("active", "unconfirmed", "paused", "ended")
LARGEST = 2**53 - 1


class Narrowing(Strict):
    """Which alerts; what is left out or null narrows nothing down."""

    model = serializers.CharField(
        max_length=120, required=False, allow_null=True, help_text="the pump model's name"
    )
    clinic = serializers.CharField(max_length=40, required=False, allow_null=True)
    rule = serializers.CharField(max_length=40, required=False, allow_null=True)
    severity = serializers.ChoiceField(choices=SEVERITIES, required=False, help_text="the least that is told")


class SubscriptionForm(Narrowing):
    """A wish to be told."""

    channel = serializers.ChoiceField(choices=Channel.choices)
    to = serializers.CharField(
        max_length=500,
        required=False,
        help_text="a webhook's https address, or a mail address; none for a feed",
    )


class SubscriptionChange(Narrowing):
    """What to change."""

    active = serializers.BooleanField(required=False, help_text="false pauses it")


class SubscriptionDocument(serializers.Serializer[Any]):
    """A subscription, as its owner sees it."""

    id = serializers.IntegerField()
    channel = serializers.ChoiceField(choices=Channel.choices)
    to = serializers.CharField()
    model = serializers.CharField(allow_null=True)
    clinic = serializers.CharField(allow_null=True)
    rule = serializers.CharField(allow_null=True)
    severity = serializers.ChoiceField(choices=SEVERITIES)
    state = serializers.ChoiceField(choices=STATES)
    ended_why = serializers.CharField(help_text="what the receiver said when it wanted no more")
    sequence = serializers.IntegerField(help_text="the number of the latest message")
    created_at = serializers.DateTimeField()
    former_secret_until = serializers.DateTimeField(
        allow_null=True, help_text="until when a webhook's replaced secret signs as well; null without one"
    )
    secret = serializers.CharField(required=False, help_text="of a webhook; told once, when it is made")
    feed = serializers.CharField(
        required=False, help_text="the address of a feed; told once, when it is made"
    )


class ReplayForm(Strict):
    """From where on: a sequence number, or a time."""

    since = serializers.JSONField(help_text="a whole number from 1, or a time in ISO 8601")

    def validate_since(self, value: Any) -> Any:
        """Return the number, or the time with its zone."""
        if isinstance(value, int) and not isinstance(value, bool):
            if not 1 <= value <= LARGEST:
                raise serializers.ValidationError("a sequence number is 1 or more")
            return value
        if not isinstance(value, str):
            raise serializers.ValidationError("must be a sequence number or a time")
        return serializers.DateTimeField().to_internal_value(value)


class ReplayDocument(serializers.Serializer[Any]):
    """How many messages are sent again."""

    again = serializers.IntegerField()


class DeliveryDocument(serializers.Serializer[Any]):
    """What became of one message. Its id is the webhook-id of every try."""

    id = serializers.CharField()
    sequence = serializers.IntegerField()
    event = serializers.ChoiceField(choices=[*EVENTS, "test", "confirm"])
    alert = serializers.IntegerField(allow_null=True)
    state = serializers.ChoiceField(choices=DeliveryState.choices)
    attempts = serializers.IntegerField()
    next_at = serializers.DateTimeField(allow_null=True, help_text="when it is tried next")
    last_error = serializers.CharField()
    created_at = serializers.DateTimeField()
    delivered_at = serializers.DateTimeField(allow_null=True)


class FeedQuery(serializers.Serializer[Any]):
    """Which alerts?"""

    model = serializers.CharField(max_length=120, required=False, help_text="the pump model's name")
    clinic = serializers.CharField(max_length=40, required=False)
    rule = serializers.CharField(max_length=40, required=False)
    severity = serializers.ChoiceField(choices=SEVERITIES, required=False, help_text="the least that is told")
