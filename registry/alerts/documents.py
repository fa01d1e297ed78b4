"""An alert as the API shows it."""

from typing import Any

from registry.answers import cautions
from registry.models import Alert, AlertState

# Why and when an alert ended is kept in its evidence under this key; everything else there stays frozen.
CLOSED = "closed"


def alert_document(alert: Alert, *, tell_reason: bool = False) -> dict[str, Any]:
    """Return the alert with its frozen evidence. Subjects are gauges, units and builds, never people.

    `closed` says when and why it ended, apart from the evidence; None while it is open. Why somebody
    dismissed it is that person's own text, told only where `tell_reason` allows it, and None elsewhere.
    """
    evidence = dict(alert.evidence)
    closed = evidence.pop(CLOSED, None)
    if closed and alert.state == AlertState.DISMISSED and not tell_reason:
        closed = {**closed, "why": None}
    return {
        "id": alert.pk,
        "rule": alert.rule,
        "rule_version": alert.rule_version,
        "subject": {alert.subject_kind: alert.subject},
        "state": str(alert.state),
        "since": alert.since.isoformat(timespec="seconds"),
        "confidence": alert.confidence,
        "says": alert.says,
        "evidence": evidence,
        "closed": closed,
        "cautions": list(cautions.ALERTS),
    }
