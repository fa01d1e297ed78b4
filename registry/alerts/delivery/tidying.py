"""Drop what is of no more use."""

from datetime import timedelta
from typing import Final

from django.db import connection
from django.utils import timezone

from registry.models import Channel, Delivery, DeliveryState, Subscription

REPLAYED_WITHIN: Final = timedelta(days=90)
CONFIRMED_WITHIN: Final = timedelta(days=4)  # a day more than the link in the mail holds
_DONE = """
DELETE FROM procrastinate_jobs WHERE status = 'succeeded' AND task_name LIKE 'registry.alerts.delivery.%'
"""


def tidy() -> None:
    """Drop deliveries too old to be sent again, mail addresses nobody confirmed in time, and done jobs."""
    now = timezone.now()
    old = Delivery.objects.filter(created_at__lt=now - REPLAYED_WITHIN, queued_at__lt=now - REPLAYED_WITHIN)
    old.exclude(state=DeliveryState.WAITING).delete()
    Subscription.objects.filter(
        channel=Channel.EMAIL, confirmed_at=None, created_at__lt=now - CONFIRMED_WITHIN
    ).delete()
    with connection.cursor() as cursor:
        cursor.execute(_DONE)
