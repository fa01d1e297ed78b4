"""What rules read of units and gauges: when, and in how many runs."""

from datetime import UTC, datetime, timedelta

import pytest

from registry.alerts.readings import readings
from registry.intake.summaries import refresh_summaries
from registry.models import Run
from tests import factories

pytestmark = pytest.mark.django_db
BEGAN = datetime(2026, 1, 1, tzinfo=UTC)


def read(unit, day: int, **how) -> Run:
    """A run of a unit, recorded so many days after the first."""
    run = factories.run(unit, **how)
    Run.objects.filter(pk=run.pk).update(recorded_at=BEGAN + timedelta(days=day))
    factories.losses(run)
    return run


def test_dates_are_of_accepted_runs_by_unit_and_declared_gauge() -> None:
    model = factories.pump_model()
    one, other = (factories.unit(model, serial, "A") for serial in ("LK000001", "LK000002"))
    factories.summary(one, 200.0)
    for day, how in ((4, {"level": "1"}), (2, {}), (9, {"level": "5"}), (3, {"gauge_code": "G2"})):
        read(one, day, **how)
    last = read(other, 400_000)
    withdrawn = read(one, 30)
    Run.objects.filter(pk=withdrawn.pk).update(state="held")
    refresh_summaries(withdrawn)
    dates = readings([model.pk]).dates.sort_values(["unit", "gauge"])
    days = (dates[["first", "at"]] - BEGAN.timestamp()) / 86_400
    assert days.iloc[:2].to_numpy().tolist() == [[2, 9], [3, 3]]
    assert dates["runs"].tolist() == [3, 1, 1]
    assert dates["gauge"].tolist() == [factories.gauge("north", code).pk for code in ("G1", "G2", "G1")]
    # What a clock says of the future is cut at the upload.
    assert dates["at"].iloc[2] == pytest.approx(last.created_at.timestamp(), abs=1e-5)
