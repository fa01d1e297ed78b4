"""Alerts that rules raise of measured units."""

from registry.alerts import unlisted
from registry.alerts.raising import record
from registry.alerts.readings import readings
from registry.alerts.scanned import Scan
from registry.models import Alert
from tests.alerts.test_unlisted import measured
from tests.factories import pump_model, span


def unlisted_alert() -> Alert:
    """Raise an alert of revision A of Lapwing One, whose later units run slower by a tenth."""
    model = pump_model()
    span(model, "A", "LK000001", "LK009999")
    measured(model, rate=0.9)
    seen = readings()
    record(unlisted.RULE, unlisted.judge(Scan(seen, seen.edition)))
    return Alert.objects.get(rule=unlisted.RULE.name)
