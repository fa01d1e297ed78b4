"""Note what an alert's change means for those who asked to be told."""

from typing import Final

from registry.alerts.delivery.tasks import spread
from registry.alerts.documents import alert_document
from registry.models import Alert, Announcement

EVENTS: Final = ("raised", "settled", "dismissed")


def announce(alert: Alert, event: str) -> None:
    """Keep for delivery that an alert was raised, settled or dismissed.

    Call it in the transaction that changes the alert, once the alert has its key and its new state: then both
    are stored or neither. It takes no lock and sends nothing; a worker does that afterwards. Alerts of a rule
    on trial are told to nobody. Raises ValueError for any other event.
    """
    if event not in EVENTS:
        raise ValueError(f"no such event: {event}")
    if alert.shadow:
        return
    said = Announcement.objects.create(alert=alert, event=event, document=alert_document(alert))
    spread.defer(announcement_id=said.pk)
