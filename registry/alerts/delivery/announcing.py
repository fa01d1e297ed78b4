"""Note what an alert's change means for those who asked to be told."""

from typing import Final

from registry.models import Alert

EVENTS: Final = ("raised", "settled", "dismissed")


def announce(alert: Alert, event: str) -> None:
    """Keep for delivery that an alert was raised, settled or dismissed.

    Call it in the transaction that changes the alert, after the alert has its key and its new state: then both
    are stored or neither. Sends nothing itself. Raises ValueError for any other event.
    """
    if event not in EVENTS:
        raise ValueError(f"no such event: {event}")
