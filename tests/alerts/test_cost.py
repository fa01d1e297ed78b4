"""What a check of new runs asks the database does not grow with what is stored."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.alerts.scan import check, scan_community
from registry.alerts.scanned import Changed
from registry.models import PumpModel
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db
# One a table that is read, for all rules and subjects together, and six to keep and decide.
CALM = 24
# Where something stands out: chances of all others, what was dismissed, names and dates of what is told, and
# the writing of alerts and announcements.
STANDING_OUT = 45


def queries(model: PumpModel, gauge: str) -> int:
    with CaptureQueriesContext(connection) as asked:
        check(Changed(model.pk, factories.gauge(gauge).pk))
    return len(asked)


@pytest.mark.parametrize(
    ("gains", "units", "most"),
    [({}, {}, CALM), ({"west": 1.08}, {}, STANDING_OUT), ({}, {"LK003000": 0.7}, STANDING_OUT)],
)
def test_more_models_units_and_judgements_ask_no_more(
    gains: dict[str, float], units: dict[str, float], most: int
) -> None:
    small = factories.pump_model("Lapwing Small")
    Community(small, gains, units).measure()
    check(Changed(small.pk, factories.gauge("west").pk))
    before = queries(small, "west")
    for name in ("Lapwing Two", "Lapwing Three", "Lapwing Four"):
        Community(factories.pump_model(name), gains, units, per_clinic=12, seed=len(name)).measure()
    scan_community()
    large = factories.pump_model("Lapwing Large")
    Community(large, gains, units, per_clinic=15, seed=8).measure()
    check(Changed(large.pk, factories.gauge("west").pk))
    assert queries(large, "west") == before <= most
