"""Declaring gauges, with calibrations that apply from their day on."""

import pytest

from registry.errors import Invalid
from registry.intake.gauges import declare_gauge
from registry.intake.receive import receive
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
