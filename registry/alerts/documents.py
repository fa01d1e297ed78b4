"""An alert as the API shows it."""

from typing import Any

from registry.alerts.rules import advice_of
from registry.answers import cautions
from registry.models import Alert, AlertNote


def alert_document(alert: Alert, *, tell_reason: bool = False) -> dict[str, Any]:
    """Return the alert with its frozen evidence. Subjects are gauges, units and builds, never people.

    `why` holds the figures against the limits in words, `advice` what to do. `closed` says when and why it
    ended, with the `reason` code of a dismissal; None while it is open. The note on a dismissal is a
    person's own text, told only where `tell_reason` allows it, and None elsewhere.
    """
    return {
        "id": alert.pk,
        "rule": alert.rule,
        "rule_version": alert.rule_version,
        "shadow": alert.shadow,
        "severity": alert.severity,
        "subject": {alert.subject_kind: alert.subject},
        "state": str(alert.state),
        "since": alert.since.isoformat(timespec="seconds"),
        "raised_at": alert.raised_at.isoformat(timespec="seconds") if alert.raised_at else None,
        "confidence": alert.confidence,
        "says": alert.says,
        "why": list(alert.why),
        "advice": advice_of(alert.rule),
        "evidence": dict(alert.evidence),
        "closed": _closed(alert, tell_reason=tell_reason),
        "cautions": [*alert.cautions, *cautions.ALERTS],
    }


def _closed(alert: Alert, *, tell_reason: bool) -> dict[str, Any] | None:
    if alert.closed_at is None:
        return None
    note = AlertNote.objects.filter(alert=alert).first() if tell_reason and alert.reason else None
    return {
        "at": alert.closed_at.isoformat(timespec="seconds"),
        "why": alert.closed_why,
        "reason": alert.reason or None,
        "note": note.text if note else None,
    }
