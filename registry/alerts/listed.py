"""Alerts from which a revision was proposed: the proposal an alert waits for, and its end with it."""

from typing import Any

from django.utils import timezone

from registry.alerts.delivery import announce
from registry.models import Alert, AlertState

# Where an alert's evidence names the proposal that was made from it.
PROPOSED = "listed_by"
_OPEN = (AlertState.RAISED, AlertState.SEEN)


def note_listing(alert: Alert, proposal: int, label: str) -> None:
    """Keep with an open alert, which the caller has locked, what was proposed from it; it counts as seen."""
    said: dict[str, Any] = {"proposal": proposal, "revision": label}
    alert.evidence = {**alert.evidence, PROPOSED: said}
    alert.state = AlertState.SEEN
    alert.save(update_fields=["state", "evidence", "changed_at"])


def settle_listed(proposal: int) -> None:
    """Settle the open alerts that a confirmed proposal answers, within the transaction that confirms it."""
    waiting = Alert.objects.filter(state__in=_OPEN, **{f"evidence__{PROPOSED}__proposal": proposal})
    for alert in waiting.select_for_update().order_by("id"):
        label = alert.evidence[PROPOSED]["revision"]
        alert.state, alert.closed_at = AlertState.SETTLED, timezone.now()
        alert.closed_why = f"listed as revision {label} by proposal {proposal}"
        alert.save(update_fields=["state", "closed_at", "closed_why", "changed_at"])
        if not alert.shadow:
            announce(alert, "settled")
