"""Robust location and scale: what they keep, what they do not let through."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from registry.statistics.robust import algorithm_a, reined, scaled_mad, stretch


def test_scaled_mad_estimates_the_standard_deviation() -> None:
    sample = np.random.default_rng(1).normal(3, 2, 200_000)
    assert scaled_mad(sample) == pytest.approx(2, rel=0.01)
    assert np.isnan(scaled_mad([]))


def test_algorithm_a_is_the_mean_of_a_clean_sample_and_forgets_a_wild_value() -> None:
    clean = [9.0, 10.0, 11.0, 10.0, 9.5, 10.5]
    centre, _ = algorithm_a(clean)
    assert centre == pytest.approx(np.mean(clean), abs=0.05)
    wild, _ = algorithm_a([*clean, 1000.0])
    assert wild == pytest.approx(centre, abs=0.4)


def test_algorithm_a_survives_mostly_equal_values() -> None:
    centre, scale = algorithm_a([5.0, 5.0, 5.0, 5.0, 9.0])
    assert 5.0 <= centre < 6.0
    assert scale > 0


def test_algorithm_a_of_one_value_is_refused() -> None:
    with pytest.raises(ValueError, match="two values"):
        algorithm_a([1.0])


@settings(deadline=None)
@given(st.lists(st.floats(-100, 100), min_size=2, max_size=20), st.floats(-50, 50), st.floats(0.1, 10))
def test_algorithm_a_moves_with_its_sample(values: list[float], shift: float, factor: float) -> None:
    # Nearly equal values are left out: whether their MAD is nought hangs on rounding.
    assume(scaled_mad(values) > 1e-3)
    centre, scale = algorithm_a(values)
    moved, scaled = algorithm_a([factor * v + shift for v in values])
    assert moved == pytest.approx(factor * centre + shift, abs=1e-4)
    assert scaled == pytest.approx(factor * scale, abs=1e-4)


def test_small_deviations_stay_and_wild_ones_vanish() -> None:
    scale, size = 2.0, 50
    limit = scale * stretch(size)
    kept = reined([0.5 * limit, -2.9 * limit, 3.4 * limit, 4.25 * limit, 6 * limit], scale, size)
    assert kept == pytest.approx(np.array([0.5, -2.9, 3.0, 1.5, 0.0]) * limit)


def test_limits_widen_for_small_samples_and_there_are_none_below_three() -> None:
    assert stretch(3) > stretch(6) > stretch(50) > 1
    assert reined([100.0, -100.0], 1.0, 2).tolist() == [100.0, -100.0]
    assert reined([100.0], 0.0, 50).tolist() == [100.0]
    assert reined([1.0, 0.0], 0.0, 2).tolist() == [1.0, 0.0]


@pytest.mark.parametrize("size", [5, 8, 15, 40])
def test_few_normal_samples_lose_anything(size: int) -> None:
    rng = np.random.default_rng(size)
    hurt = 0
    for sample in rng.normal(size=(2000, size)):
        apart = sample - np.median(sample)
        limit = 3.5 * stretch(size) * scaled_mad(sample)
        hurt += bool(np.abs(apart).max() > limit)
    assert hurt / 2000 <= 0.065
