"""Both sides of a double pump in one file: differences and phase against what was made."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest

from registry.waveform import Declared, GaugeSpec, ReadError, measure, measure_pair, measure_sides

from .test_channels import LEFT, SECONDS, TWO, table
from .truth import Pump
from .truth import pulse as pulse_of

GAUGE = GaugeSpec(-20, 400, 0.1, accuracy_mmhg=1.0, accuracy_fraction=0.01, calibration_u_mmhg=0.7)
ZEROED = Declared(zero_offset_mmhg=0.0)
PUMP = Pump(low=20, high=220, pull=0.25, hold=0.3, release=0.15, rest=0.3)
PERIOD = PUMP.period
AT = np.arange(6000) / 100
UP_AND_DOWN = (PUMP.pull + 2 * PUMP.hold + PUMP.release) / 2 / PERIOD  # mean of the pulse, from its area


def wave(lag=0.0, pump=PUMP, period=PERIOD, at=AT):
    """Vacuum of a pump that starts a pull at `lag` and every period after it."""
    since = np.mod(at - lag - 0.4, period)
    return pump.low + (pump.high - pump.low) * pulse_of(pump, since, pump.hold)


def both(left, right, rng=None, noise=0.5, head="Time (s),Left (mmHg),Right (mmHg)"):
    rng = rng or np.random.default_rng(4)
    noisy = [values + noise * rng.standard_normal(values.size) for values in (left, right)]
    return table(head, AT, *noisy)


def test_each_side_is_measured_as_by_itself():
    data = both(wave(), wave(0.2))
    sides = measure_sides(data, gauge=GAUGE, declared=ZEROED)
    for side in ("left", "right"):
        alone = measure(data, gauge=GAUGE, declared=replace(ZEROED, side=side))
        together = getattr(sides, side)
        assert together.metrics == alone.metrics
        assert together.understood == alone.understood
        assert together.findings == alone.findings


def test_differences_are_left_less_right():
    weaker = replace(PUMP, low=10, high=190)
    sides = measure_sides(both(wave(), wave(0.1, weaker)), gauge=GAUGE, declared=ZEROED)
    made = {
        "cycle_rate": 0.0,
        "peak_vacuum": 30.0,
        "residual_vacuum": 10.0,
        "mean_vacuum": 10.0 + 20.0 * UP_AND_DOWN,
        "phase": 0.1,
    }
    assert list(sides.imbalance) == list(made)
    for name, value in made.items():
        found = sides.imbalance[name]
        exact = hypot(found.parts.get("sampling", 0.0), found.parts.get("scatter", 0.0))
        assert abs(found.value - value) < max(3 * exact, 0.1 if found.unit == "mmHg" else 0.002), name
    assert sides.imbalance["peak_vacuum"].unit == "mmHg"
    assert sides.imbalance["phase"].unit == "s"


@pytest.mark.parametrize("share", [0.0, 0.1, 0.25, -0.25, 0.45, -0.45, 0.5])
def test_phase_is_the_lag_of_the_right_side(share):
    lag = share * PERIOD
    sides = measure_sides(both(wave(), wave(lag)), gauge=GAUGE, declared=ZEROED)
    found = sides.imbalance["phase"]
    assert found.value == pytest.approx(lag, abs=0.001)
    half = PERIOD / 2 + 1e-4  # the measured period is that much off at most
    assert -half < found.value <= half


@pytest.mark.parametrize("seed", range(8))
def test_sides_that_alternate_are_half_a_period_apart_whatever_the_noise(seed):
    data = both(wave(), wave(PERIOD / 2), np.random.default_rng(seed), noise=1.0)
    assert measure_sides(data, gauge=GAUGE).imbalance["phase"].value > 0.49 * PERIOD


def test_phase_holds_over_lost_cycles_and_odd_starts():
    left, right = wave(), wave(0.3)
    left[2000 : 2000 + int(PERIOD * 100)] = PUMP.low
    right[:350] = PUMP.low
    found = measure_sides(both(left, right), gauge=GAUGE, declared=ZEROED).imbalance["phase"]
    assert found.value == pytest.approx(0.3, abs=0.002)


def test_sides_that_keep_no_step_have_no_phase():
    sides = measure_sides(both(wave(), wave(period=1.1)), gauge=GAUGE, declared=ZEROED)
    assert "phase" not in sides.imbalance
    assert sides.imbalance["cycle_rate"].value == pytest.approx(60 / PERIOD - 60 / 1.1, abs=0.01)


def test_a_side_at_rest_leaves_no_differences():
    sides = measure_sides(both(wave(), np.full(AT.size, 3.0)), gauge=GAUGE, declared=ZEROED)
    assert sides.imbalance == {}
    assert "peak_vacuum" in sides.left.metrics
    assert sides.right.holds


def test_what_the_sides_share_cancels_and_what_each_has_for_itself_does_not():
    sides = measure_sides(both(wave(), wave()), gauge=GAUGE, declared=ZEROED)
    left, right, found = (
        one["peak_vacuum"] for one in (sides.left.metrics, sides.right.metrics, sides.imbalance)
    )
    assert left.parts["calibration"] == right.parts["calibration"] == pytest.approx(0.7)
    assert "calibration" not in found.parts
    assert "zero" not in found.parts
    assert found.parts["accuracy"] == pytest.approx(hypot(left.parts["accuracy"], right.parts["accuracy"]))
    assert found.u_random == pytest.approx(hypot(left.u_random, right.u_random))
    assert found.u == pytest.approx(hypot(found.u_random, found.u_systematic))


def test_an_unknown_zero_is_each_sides_own():
    sides = measure_sides(both(wave(), wave()), gauge=GAUGE)
    left, found = sides.left.metrics["peak_vacuum"], sides.imbalance["peak_vacuum"]
    assert found.parts["zero"] == pytest.approx(np.sqrt(2) * left.parts["zero"])


def test_the_clock_is_shared():
    sides = measure_sides(both(wave(), wave()), gauge=GAUGE, declared=ZEROED)
    rate, found = sides.left.metrics["cycle_rate"], sides.imbalance["cycle_rate"]
    assert found.parts.get("clock", 0.0) < 0.01 * rate.parts["clock"]


def test_stated_uncertainty_covers_what_noise_does():
    """Over seventy files: random parts alone against the scatter of the differences."""
    z = {"cycle_rate": [], "peak_vacuum": [], "residual_vacuum": [], "mean_vacuum": [], "phase": []}
    right = wave(0.2)
    for seed in range(70):
        data = both(wave(), right, np.random.default_rng([5, seed]), noise=1.5)
        found = measure_sides(data, gauge=GAUGE, declared=ZEROED).imbalance
        for name, values in z.items():
            values.append((found[name].value - (0.2 if name == "phase" else 0.0)) / found[name].u_random)
    for name, values in z.items():
        assert np.mean(np.abs(values) <= 2) >= 0.86, name
        assert np.mean(np.abs(values) <= 0.1) <= 0.5, name


@pytest.mark.parametrize("shift", [0.0, 0.37])
def test_sides_with_their_own_times_share_the_files_clock(shift):
    right = wave(0.1, at=AT + shift)
    head = "t L (s),Left (mmHg),t R (s),Right (mmHg)"
    data = table(head, AT + 5, wave(at=AT), AT + 5 + shift, right)
    found = measure_sides(data, gauge=GAUGE, declared=ZEROED).imbalance["phase"]
    assert found.value == pytest.approx(0.1, abs=0.001)


def test_sides_with_their_own_clocks_over_midnight():
    def clock(at):
        return [f"{int(x // 3600) % 24:02d}:{int(x // 60) % 60:02d}:{x % 60:06.3f}" for x in at]

    head = "Clock L,Left (mmHg),Clock R,Right (mmHg)"
    late = 86_399.8
    data = table(head, clock(AT + late), wave(), clock(AT + late + 0.37), wave(0.1, at=AT + 0.37))
    found = measure_sides(data, gauge=GAUGE, declared=ZEROED).imbalance["phase"]
    assert found.value == pytest.approx(0.1, abs=0.002)


def test_clocks_that_cannot_be_compared_give_no_phase():
    head = "Clock L,Left (mmHg),Clock R,Right (mmHg)"
    clock = [f"10:{int(x // 60):02d}:{x % 60:06.3f}" for x in AT]
    data = table(head, [f"2026-03-04T{text}" for text in clock], wave(), clock, wave())
    assert list(measure_sides(data, gauge=GAUGE, declared=ZEROED).imbalance)[-1] == "mean_vacuum"


def test_one_clock_serves_both_sides():
    head = "Clock L,Left (mmHg),Sample R,Right (mmHg)"
    clock = [f"10:{int(x // 60):02d}:{x % 60:06.3f}" for x in AT]
    data = table(head, clock, wave(), AT, wave())
    sides = measure_sides(data, gauge=GAUGE, declared=ZEROED)
    assert "phase" in sides.imbalance  # the one clock serves both
    assert sides.right.understood.time_column == "Clock L"


def test_a_file_without_both_sides_is_refused():
    for data in (
        table("Time (s),Vacuum (mmHg)", SECONDS, LEFT),
        table("Time (s),Left (mmHg)", SECONDS, LEFT),
    ):
        with pytest.raises(ReadError) as caught:
            measure_sides(data)
        assert caught.value.code == "sides_missing"
        assert caught.value.hint
    with pytest.raises(ReadError) as caught:
        measure_sides(TWO, declared=Declared(vacuum_column="left"))
    assert caught.value.code == "sides_missing"


def test_a_declared_side_does_not_matter():
    data = both(wave(), wave(0.2))
    plain, sided = (measure_sides(data, declared=Declared(side=side)) for side in (None, "right"))
    assert plain.imbalance == sided.imbalance


def test_sides_told_apart_by_what_was_said_are_measured_as_named_ones():
    named, plain = (
        both(wave(), wave(0.2), head=f"Time (s),{heads}")
        for heads in ("Left (mmHg),Right (mmHg)", "CH1 (mmHg),CH2 (mmHg)")
    )
    said = [replace(ZEROED, vacuum_column=f"{channel} (mmHg)") for channel in ("CH1", "CH2")]
    told = measure_pair(plain, gauge=GAUGE, declared=(said[0], said[1]))
    assert told.imbalance == measure_sides(named, gauge=GAUGE, declared=ZEROED).imbalance
    turned = measure_pair(plain, gauge=GAUGE, declared=(said[1], said[0]))
    assert turned.imbalance["phase"].value == pytest.approx(-0.2, abs=0.002)
    with pytest.raises(ReadError) as caught:
        measure_pair(plain, gauge=GAUGE, declared=(said[0], said[0]))
    assert caught.value.code == "ambiguous_columns"


def test_zeros_declared_apart_are_each_sides_own():
    data = both(wave(), wave() + 2)
    said = Declared(zero_offset_mmhg=0.0, side="left"), Declared(zero_offset_mmhg=2.0, side="right")
    found = measure_pair(data, gauge=GAUGE, declared=said).imbalance["peak_vacuum"]
    assert found.value == pytest.approx(0.0, abs=0.3)
    left = measure_sides(data, gauge=GAUGE, declared=ZEROED).left.metrics["peak_vacuum"]
    assert found.parts.get("zero", 0.0) == pytest.approx(np.sqrt(2) * left.parts.get("zero", 0.0))
