"""Expected information of answers of a few kinds and of values."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.information import (
    entropy,
    information,
    information_of_values,
    spread_points,
)


def test_an_answer_that_settles_everything_tells_all_the_doubt_there_is() -> None:
    chances = np.array([0.25, 0.75])
    assert information(chances, np.eye(2)) == pytest.approx(entropy(chances))


def test_an_answer_that_is_the_same_for_all_tells_nothing() -> None:
    assert information(np.array([0.3, 0.7]), np.array([[0.2, 0.8], [0.2, 0.8]])) == pytest.approx(
        0, abs=1e-12
    )
    assert information(np.array([1.0, 0.0]), np.eye(2)) == 0.0


def test_a_mark_read_rightly_nineteen_times_in_twenty() -> None:
    found = information(np.array([0.5, 0.5]), np.array([[0.95, 0.05], [0.05, 0.95]]))
    assert found == pytest.approx(1 - entropy(np.array([0.95, 0.05])))


def _normal(centre, spread=1.0):
    cube = spread_points(1024, 2)[:, :1]
    of = stats.norm(centre, spread)
    return of.ppf(cube), lambda points: of.logpdf(points[:, 0])


@pytest.mark.parametrize("apart", [0.0, 1.0, 2.0, 8.0])
def test_values_tell_what_an_integral_over_both_says(apart) -> None:
    (draws, density), (others, other) = _normal(0.0), _normal(apart)
    found = information_of_values(np.array([0.5, 0.5]), [draws, others], [density, other])
    x = np.linspace(-12, 12 + apart, 20_001)
    parts = [stats.norm(centre, 1).pdf(x) for centre in (0.0, apart)]
    mixed = sum(parts) / 2
    least = np.maximum(mixed, 1e-300)
    bits = (0.5 * p * np.log2(np.maximum(p, 1e-300) / least) for p in parts)
    exact = sum(np.trapezoid(one, x) for one in bits)
    assert found == pytest.approx(exact, abs=0.01)


def test_hypotheses_without_a_chance_are_passed_over() -> None:
    (draws, density), (others, other) = _normal(0.0), _normal(50.0)
    found = information_of_values(np.array([1.0, 0.0]), [draws, others], [density, other])
    assert found == pytest.approx(0, abs=1e-9)


def test_points_are_the_same_each_time_and_inside() -> None:
    first, again = spread_points(64, 3), spread_points(64, 3)
    assert np.array_equal(first, again)
    assert first.min() > 0
    assert first.max() < 1
    assert first.mean(axis=0) == pytest.approx([0.5] * 3, abs=0.02)
