"""A plain run from file to metrics."""

import numpy as np
import pytest

from registry.waveform import CURRENT_EDITION, Declared, GaugeSpec, measure
from registry.waveform.editions import edition_of

from .files import simple
from .truth import Bench, Pump, record

GAUGE = GaugeSpec(0, 400, 0.1, accuracy_mmhg=0.5, accuracy_fraction=0.002)
TOLERANCE = {
    "cycle_rate": 0.02,
    "peak_vacuum": 0.3,
    "residual_vacuum": 0.3,
    "vacuum_swing": 0.5,
    "mean_vacuum": 0.3,
    "pull_time": 0.003,
    "release_time": 0.003,
    "hold_time": 0.005,
    "duty_factor": 0.002,
    "peak_pull_rate": 25.0,
    "peak_spread": 0.002,
    "period_spread": 0.002,
    "peak_drift": 0.5,
    "loss_rate": 1e-9,
    "settling_time": 1e-9,
}


@pytest.fixture(scope="module")
def trace():
    return record(Pump(), Bench(start_phase=0.7), np.random.default_rng(5))


def test_every_metric_of_the_edition_is_found_near_the_truth(trace):
    measured = measure(
        simple(trace.seconds, trace.vacuum), gauge=GAUGE, declared=Declared(zero_offset_mmhg=0.0)
    )
    assert list(measured.metrics) == list(edition_of(CURRENT_EDITION).metrics)
    for name, tolerance in TOLERANCE.items():
        assert measured.metrics[name].value == pytest.approx(trace.truth[name], abs=tolerance), name
    assert measured.findings == ()
    assert not measured.holds


def test_units_are_those_of_the_edition(trace):
    measured = measure(simple(trace.seconds, trace.vacuum))
    for name, definition in edition_of(CURRENT_EDITION).metrics.items():
        quantity = measured.metrics[name]
        assert quantity.unit == definition.unit
        assert quantity.u == pytest.approx(np.hypot(quantity.u_random, quantity.u_systematic))


def test_an_undeclared_gauge_widens_the_uncertainty_and_is_noted(trace):
    data = simple(trace.seconds, trace.vacuum)
    known = measure(data, gauge=GAUGE)
    unknown = measure(data)
    assert {"gauge_undeclared", "zero_unknown"} <= {item.code for item in unknown.findings}
    assert unknown.metrics["peak_vacuum"].u > 2 * known.metrics["peak_vacuum"].u
    assert not unknown.holds


def test_the_cycle_table_has_a_row_for_each_cycle(trace):
    cycles = measure(simple(trace.seconds, trace.vacuum)).cycles
    assert len(cycles) in {59, 60}
    rows = cycles.as_rows()
    assert set(rows[0]) == {"start_s", "period_s", "peak_mmhg", "residual_mmhg", "duty", "loss"}
    assert rows[3]["peak_mmhg"] == pytest.approx(220, abs=1.0)


def test_zero_and_calibration_are_applied_in_that_order(trace):
    gauge = GaugeSpec(
        0, 400, 0.1, 0.5, calibration_gain=1.02, calibration_offset_mmhg=-1.0, calibration_u_mmhg=0.4
    )
    shifted = simple(trace.seconds, trace.vacuum + 3.0)
    plain = measure(simple(trace.seconds, trace.vacuum), gauge=GAUGE).metrics["peak_vacuum"].value
    measured = measure(shifted, gauge=gauge, declared=Declared(zero_offset_mmhg=3.0))
    assert measured.metrics["peak_vacuum"].value == pytest.approx(1.02 * plain - 1.0, abs=0.02)
    assert measured.metrics["peak_vacuum"].u_systematic > 0.4


def test_an_unknown_edition_is_refused(trace):
    with pytest.raises(KeyError, match="no edition 99"):
        measure(simple(trace.seconds, trace.vacuum), edition=99)
