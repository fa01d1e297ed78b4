"""A unit's alert lasts until its gauge is told, and no longer."""

import pytest

from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed
from registry.models import Alert, AlertState, UnitSummary
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db
UNIT, GAUGE = ("unit_off", "Lapwing One/LK003000"), ("gauge_off", "west/G1")


def states() -> dict[tuple[str, str], str]:
    return {(a.rule, a.subject): a.state for a in Alert.objects.all()}


@pytest.mark.parametrize("look", ["check", "scan"])
def test_a_told_unit_settles_when_its_gauge_is_told(look: str) -> None:
    """The first unit that a gauge reads high stands out, as long as no others say that it is the gauge."""
    model = factories.pump_model()
    Community(model, units={"LK003000": 1.18}).measure()
    scan_community()
    assert states() == {UNIT: "suspected"}
    Alert.objects.update(state=AlertState.RAISED)
    UnitSummary.objects.all().delete()
    Community(model, gains={"west": 1.12}, units={"LK003000": 1.18 / 1.12}).measure()
    scan_community() if look == "scan" else check(Changed(model.pk, factories.gauge("west").pk))
    assert states() == {UNIT: "settled", GAUGE: "raised"}
    assert "like the other units of its build" in Alert.objects.get(rule="unit_off").closed_why
