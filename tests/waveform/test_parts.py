"""The parts of the numerics by themselves."""

import json
from math import hypot, sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from registry.waveform import CycleTable, GaugeSpec, Quantity, kernels
from registry.waveform.cycles import find_crossings, repeating_period
from registry.waveform.editions import CURRENT_EDITION, EDITIONS, edition_of
from registry.waveform.losses import due_cycles
from registry.waveform.order import dot, median, running_median
from registry.waveform.patches import Bins, fit_patches
from registry.waveform.profile import fold, smooth
from registry.waveform.uncertainty import GaugeParts, lag_one, rectangular, rounding, scatter

NUMBERS = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=40)


@given(NUMBERS)
def test_median_is_that_of_numpy(values):
    assert median(np.array(values)) == pytest.approx(float(np.median(values)), abs=1e-9)


def test_median_of_none_is_nan():
    assert np.isnan(median(np.empty(0)))


@given(NUMBERS)
def test_a_running_median_stays_within_its_values_and_forgets_lone_ones(values):
    array = np.array(values)
    running = running_median(array, 7)
    assert running.size == array.size
    assert running.min() >= array.min()
    assert running.max() <= array.max()
    steady = np.ones(20)
    steady[7] = 99.0
    assert np.all(running_median(steady, 7) == 1.0)


def test_dot_is_the_sum_of_products():
    assert dot(np.array([1.0, 2.0]), np.array([3.0, 4.0])) == 11.0


@given(st.floats(0.3, 3.0), st.floats(0.0, 1.0), st.integers(20, 200))
def test_the_repeating_period_of_a_cosine(period, phase, rate):
    at = np.arange(int(60 * rate)) / rate
    found = repeating_period(np.cos(2 * np.pi * (at / period + phase)), 1.0 / rate)
    assert found == pytest.approx(period, rel=0.02)


def test_a_flat_trace_has_no_period():
    assert repeating_period(np.ones(500), 0.02) is None
    assert find_crossings(np.arange(4.0), np.ones(4), (0.3, 0.5, 0.7)) is None


def test_due_cycles_fill_the_holes_between_rises():
    rise = np.array([1.0, 2.0, 4.0, 5.0])
    slots = due_cycles(rise, 1.0, 0.5, 5.6, 0.4)
    assert slots.start.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert slots.rise.tolist() == [0, 1, -1, 2, 3]
    assert slots.followed.tolist() == [True, False, False, True, False]


def test_one_cycle_at_most_is_due_before_the_first_and_after_the_last():
    rise = np.array([3.0, 4.0, 5.0])
    assert due_cycles(rise, 1.0, 1.5, 6.6, 0.4).rise.tolist() == [-1, 0, 1, 2, -1]
    assert due_cycles(rise, 1.0, 0.0, 9.0, 0.4).rise.tolist() == [0, 1, 2]


def test_window_means_take_the_nearest_sample_where_none_lies_inside():
    seconds = np.arange(10.0)
    means = kernels.slots.window_means(seconds, 10 * seconds, np.array([2.0, 4.2]), 0.0, 0.7)
    assert means.tolist() == [20.0, 50.0]


def test_folding_lays_cycles_on_the_mean_cycle():
    seconds = np.arange(0.0, 6.0, 0.01)
    rise, fall = np.array([1.0, 2.0, 3.2, 4.2]), np.array([1.4, 2.4, 3.68, 4.6])
    folded = fold(seconds, seconds, rise, fall, np.ones(3, dtype=bool))
    assert folded.count == 3
    assert folded.period == pytest.approx(3.2 / 3)
    assert folded.at.min() >= -1e-9
    assert folded.at.max() <= folded.period + 1e-9
    alone = fold(seconds, seconds, rise, fall, np.array([True, False, True]))
    assert set(alone.cycle.tolist()) == {0, 2}


def test_a_smoothed_profile_of_a_line_keeps_its_slope():
    rng = np.random.default_rng(3)
    seconds = np.arange(0.0, 60.0, 0.01)
    rise = np.arange(0.25, 59.0, 1.0)
    values = np.abs(np.mod(seconds - 0.25, 1.0) - 0.5) + 0.01 * rng.standard_normal(seconds.size)
    profile = smooth(fold(seconds, -values, rise, rise + 0.5, np.ones(rise.size - 1, dtype=bool)), 1e-6)
    up = (profile.at > 0.1) & (profile.at < 0.4)
    assert np.median(profile.slope[up]) == pytest.approx(1.0, abs=0.02)


def test_a_patch_on_a_parabola_is_that_parabola():
    at = np.linspace(0.0, 1.0, 200, endpoint=False)
    level = 5.0 - (at - 0.5) ** 2 + 0.001 * np.random.default_rng(1).standard_normal(at.size)
    bins = Bins(at, level, np.full(200, 1e6), level, 1.0)
    (patch,) = fit_patches(bins, np.array([100]), 0.2)
    assert patch.value(0.0) == pytest.approx(5.0, abs=1e-3)
    assert patch.slope(0.1) == pytest.approx(-0.2, abs=0.01)
    assert patch.at + patch.crossing(5.0 - 0.01) == pytest.approx(0.5, abs=0.11)
    assert patch.crossing(99.0) is None
    assert 0 < patch.error(0.0) < 1e-3


def test_the_gauges_parts_of_levels_and_of_differences():
    gauge = GaugeSpec(0, 400, 1.0, 0.6, 0.01, calibration_u_mmhg=0.3)
    parts = GaugeParts(gauge, 1.0, 0.5)
    accuracy, resolution = (0.6 + 2.0) / sqrt(3), 0.5 / sqrt(3)
    assert parts.level(200.0) == pytest.approx(
        {"accuracy": accuracy, "resolution": resolution, "calibration": 0.3, "zero": 0.5}
    )
    difference = {"accuracy": hypot(accuracy, 0.8 / sqrt(3)), "resolution": sqrt(2) * resolution}
    assert parts.difference(200.0, 20.0) == pytest.approx(difference)
    assert parts.gain(200.0, 20.0) == pytest.approx({name: u / 180 for name, u in difference.items()})
    assert rectangular(3.0) == pytest.approx(sqrt(3.0))


@pytest.mark.parametrize("noise", [0.1, 0.2, 0.3, 0.4])
def test_noise_takes_rounding_out_of_a_mean(noise):
    levels = (np.arange(400) + 0.5) / 400
    draws = norm.ppf((np.arange(20000) + 0.5) / 20000) * noise
    off = [np.round(level + draws).mean() - level for level in levels]
    assert rounding(1.0, noise) == pytest.approx(float(np.sqrt(np.mean(np.square(off)))), rel=0.01)
    assert rounding(1.0, 0.0) == pytest.approx(1 / sqrt(12))
    assert rounding(1.0, 0.001) == pytest.approx(1 / sqrt(12), rel=0.02)
    assert rounding(0.0, noise) == 0.0


def test_scatter_frees_the_spread_from_reading_noise():
    rng = np.random.default_rng(6)
    values = 5 + 0.3 * rng.standard_normal(4000) + 0.4 * rng.standard_normal(4000)
    found = scatter(values, 0.4)
    assert found.spread == pytest.approx(0.3, abs=0.03)
    assert found.u_mean == pytest.approx(0.3 / sqrt(4000), rel=0.1)
    assert found.u_spread["scatter"] == pytest.approx(0.25 * sqrt(3 / 3999) / 0.6, rel=0.2)
    assert scatter(np.array([1.0]), 0.1).u_mean == np.inf


def test_neighbours_that_share_a_crossing_are_found_alike_and_chance_is_not():
    rng = np.random.default_rng(7)
    assert lag_one(np.diff(rng.standard_normal(300))) == pytest.approx(-0.5, abs=0.12)
    assert lag_one(np.arange(5.0)) == 0.0


def leaps(values):
    found, before, after = kernels.course.leaps(np.asarray(values, dtype=float), 6, 4, 0.08)
    return found.tolist(), before.tolist(), after.tolist()


def test_leaps_are_found_where_they_are():
    wave = 0.01 * np.sin(np.arange(40.0))
    once = np.repeat([1.0, 2.0], [10, 30]) + wave
    assert leaps(once)[0] == [10]
    twice = np.repeat([1.0, 1.2, 1.5], [4, 30, 6]) + wave
    found, before, after = leaps(twice)
    assert found == [4, 34]
    assert before == pytest.approx([1.0, 1.2], abs=0.02)
    assert after == pytest.approx([1.2, 1.5], abs=0.02)
    once[[3, 17, 20]] = 0.1
    assert leaps(once)[0] == [10]


def test_what_grows_or_dies_down_is_no_leap():
    assert leaps(np.linspace(1.0, 2.0, 30))[0] == []
    assert leaps(1 - 0.6 * np.exp(-np.arange(40) / 3))[0] == []
    assert leaps(1 - 0.6 * np.exp(-np.arange(40) / 0.7))[0] == []
    assert leaps(np.ones(50))[0] == leaps(np.ones(5))[0] == leaps([])[0] == []
    assert leaps(np.repeat([1.0, 2.0], [30, 3]))[0] == []


def test_editions_are_numbered_and_fixed():
    edition = edition_of(CURRENT_EDITION)
    assert edition.number == CURRENT_EDITION == 1
    assert len(edition.metrics) == 15
    with pytest.raises(TypeError):
        EDITIONS[2] = edition


def test_quantities_combine_their_parts_and_tables_are_ready_for_json():
    whole = Quantity.of(1.0, "s", {"sampling": 3.0, "zero": 4.0, "accuracy": 12.0, "scatter": 0.0})
    assert (whole.u, whole.u_random, whole.u_systematic) == (13.0, 3.0, pytest.approx(sqrt(160)))
    assert whole.parts == {"sampling": 3.0, "zero": 4.0, "accuracy": 12.0}
    assert Quantity.of(1.0, "s", {"sampling": np.inf, "zero": 1.0}).u == np.inf
    with pytest.raises(ValueError, match="no such part"):
        Quantity.of(1.0, "s", {"luck": 1.0})
    one = np.array([np.nan])
    rows = CycleTable(np.array([1.5]), one, one, one, one, ("missing",)).as_rows()
    assert json.loads(json.dumps(rows)) == [
        {
            "start_s": 1.5,
            "period_s": None,
            "peak_mmhg": None,
            "residual_mmhg": None,
            "duty": None,
            "loss": "missing",
        }
    ]
