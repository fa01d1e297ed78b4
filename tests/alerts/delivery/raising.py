"""Alerts for tests of delivery."""

from typing import Any

from django.utils import timezone

from registry.alerts.delivery import announce
from registry.models import Alert


def raised(subject: str = "elmsworth/G1", **changes: Any) -> Alert:
    """Raise an alert about a gauge, and announce it."""
    said = {
        "rule": "gauge_off",
        "rule_version": 1,
        "subject_kind": "gauge",
        "since": timezone.now(),
        "confidence": 0.98,
        "says": f"Gauge {subject} reads 6 % high.",
        "evidence": {"size": 0.06},
        **changes,
    }
    alert = Alert.objects.create(subject=subject, **said)
    announce(alert, "raised")
    return alert
