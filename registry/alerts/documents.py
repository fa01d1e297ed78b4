"""An alert as the API shows it."""

from typing import Any

from registry.answers import cautions
from registry.models import Alert


def alert_document(alert: Alert) -> dict[str, Any]:
    """Return the alert with its frozen evidence. Subjects are gauges, units and builds, never people."""
    return {
        "id": alert.pk,
        "rule": alert.rule,
        "rule_version": alert.rule_version,
        "subject": {alert.subject_kind: alert.subject},
        "state": str(alert.state),
        "since": alert.since.isoformat(timespec="seconds"),
        "confidence": alert.confidence,
        "says": alert.says,
        "evidence": alert.evidence,
        "cautions": list(cautions.ALERTS),
    }
