"""Declaring gauges, with calibrations that apply from their day on."""

from datetime import UTC, datetime, timedelta

import pytest

from registry.errors import Invalid
from registry.intake.gauges import declare_gauge
from registry.intake.receive import receive
from registry.models import Gauge
from tests.declared import GAUGE, provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db


def calibration(on, gain):
    return {"on": on, "gain": gain, "offset": 0.0, "uncertainty": 0.3, "source": "water column"}


def test_declaring_again_changes_the_same_gauge(operator):
    gauge, is_new = declare_gauge("G1", {**GAUGE, "accuracy": "1 % FS"}, operator)
    assert not is_new
    assert gauge.accuracy_mmhg == pytest.approx(4)


def test_every_fault_is_named(operator):
    said = {"gauge_model": "", "range": "wide", "resolution": "0 mmHg", "accuracy": "fair", "colour": "red"}
    with pytest.raises(Invalid) as caught:
        declare_gauge("G2", said, operator)
    assert {f.field for f in caught.value.faults} == set(said)


def test_a_calibration_is_named_by_its_place(operator):
    with pytest.raises(Invalid) as caught:
        declare_gauge("G2", {**GAUGE, "calibrations": [calibration("2026-13-01", 3)]}, operator)
    assert {f.field for f in caught.value.faults} == {"calibrations[0].on", "calibrations[0].gain"}


@pytest.mark.parametrize(
    ("field", "text"),
    [
        ("range", "0..9999999 mmHg"),
        ("range", f"0..{'9' * 100} mmHg"),
        ("range", "-1..10 bar"),
        ("range", "0..5 mmHg"),
        ("resolution", "500 mmHg"),
        ("resolution", "41 mmHg"),
        ("accuracy", "500 % FS"),
        ("accuracy", "20 % FS + 10 % reading"),
        ("accuracy", "101 mmHg"),
    ],
)
def test_a_gauge_that_could_tell_nothing_is_refused(operator, field, text):
    with pytest.raises(Invalid) as caught:
        declare_gauge("G2", {**GAUGE, field: text}, operator)
    (fault,) = caught.value.faults
    assert fault.field == field
    assert "must" in fault.message
    assert not Gauge.objects.filter(code="G2").exists()


@pytest.mark.parametrize(
    ("changes", "low", "high"),
    [
        ({"range": "-100..0 kPa"}, 0, 750.0616),
        ({"range": "-1..1 bar", "resolution": "1 mbar", "accuracy": "25 % FS"}, -750.0616, 750.0616),
        ({"range": "0..20 mmHg", "resolution": "2 mmHg", "accuracy": "25 % reading"}, 0, 20),
    ],
)
def test_gauges_at_the_bounds_are_taken(operator, changes, low, high):
    gauge, _ = declare_gauge("G2", {**GAUGE, **changes}, operator)
    assert (gauge.range_low_mmhg, gauge.range_high_mmhg) == pytest.approx((low, high), rel=1e-6)


def test_a_calibration_of_a_day_that_cannot_be_is_refused(operator):
    tomorrow = (datetime.now(UTC) + timedelta(days=1)).date()
    declare_gauge("G2", {**GAUGE, "calibrations": [calibration(tomorrow.isoformat(), 1.0)]}, operator)
    for day in ("2999-01-01", (tomorrow + timedelta(days=1)).isoformat(), "1999-12-31"):
        with pytest.raises(Invalid) as caught:
            declare_gauge("G2", {**GAUGE, "calibrations": [calibration(day, 1.0)]}, operator)
        assert [f.field for f in caught.value.faults] == ["calibrations[0].on"]


def test_two_calibrations_of_one_day_are_refused(operator):
    rows = [calibration("2026-01-01", 1.0), calibration("2026-01-01", 1.1)]
    with pytest.raises(Invalid) as caught:
        declare_gauge("G2", {**GAUGE, "calibrations": rows}, operator)
    assert [f.field for f in caught.value.faults] == ["calibrations[1].on"]


def test_a_code_in_other_capitals_is_the_same_gauge(operator):
    gauge, is_new = declare_gauge("g1", {**GAUGE, "accuracy": "1 % FS"}, operator)
    assert (gauge.code, is_new) == ("G1", False)
    assert Gauge.objects.count() == 1


def test_the_calibration_of_the_day_corrects_the_run(operator):
    rows = [calibration("2026-01-01", 1.0), calibration("2026-03-01", 1.1), calibration("2026-04-01", 1.2)]
    declare_gauge("G1", {**GAUGE, "calibrations": rows}, operator)
    run = receive(trace_bytes(), provenance(recorded_at="2026-03-02T10:00Z"), operator).run
    assert run.measurements.get(metric="peak_vacuum").value == pytest.approx(220, abs=1)


def test_a_run_before_the_first_calibration_says_so(operator):
    declare_gauge("G1", {**GAUGE, "calibrations": [calibration("2026-04-01", 1.2)]}, operator)
    receipt = receive(trace_bytes(), provenance(recorded_at="2026-03-02T10:00Z"), operator)
    assert "calibration_later" in {f.code for f in receipt.findings}
    assert receipt.run.measurements.get(metric="peak_vacuum").value == pytest.approx(200, abs=1)
