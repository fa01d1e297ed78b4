"""Chances of correlated normal values in boxes, held against scipy's multivariate normal distribution."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.boxes import box_chances


def boxes(size: int, number: int, *, strong: bool):
    """Random boxes, some ends infinite, and random correlations."""
    rng = np.random.default_rng(size)
    made = rng.normal(size=(number, size, size + 1)) + strong * 3 * rng.normal(size=(number, size, 1))
    together = 0.97 * np.array([np.corrcoef(rows) for rows in made])
    together[:, np.arange(size), np.arange(size)] = 1.0
    low = rng.normal(size=(number, size)) - 1
    high = low + rng.exponential(2, size=(number, size))
    low[rng.random((number, size)) < 0.3] = -np.inf
    high[rng.random((number, size)) < 0.3] = np.inf
    return low, high, together


def by_scipy(low, high, together):
    return [
        stats.multivariate_normal.cdf(
            np.clip(most, -8, 8),
            mean=np.zeros(most.size),
            cov=bound,
            lower_limit=np.clip(least, -8, 8),
            maxpts=20_000 * most.size,
            abseps=1e-7,
            rng=np.random.default_rng(1),
        )
        for least, most, bound in zip(low, high, together, strict=True)
    ]


@pytest.mark.parametrize("strong", [False, True])
@pytest.mark.parametrize(("size", "off"), [(2, 1e-9), (3, 5e-4), (4, 5e-3), (6, 5e-3)])
def test_chances_are_those_of_scipy(size, off, strong) -> None:
    low, high, together = boxes(size, 25, strong=strong)
    assert box_chances(low, high, together) == pytest.approx(by_scipy(low, high, together), abs=off)


@pytest.mark.parametrize("size", [2, 3, 5])
def test_a_chance_does_not_depend_on_the_other_boxes(size) -> None:
    low, high, together = boxes(size, 60, strong=True)
    all_at_once = box_chances(low, high, together)
    alone = [box_chances(low[k : k + 1], high[k : k + 1], together[k : k + 1])[0] for k in range(60)]
    assert all_at_once == pytest.approx(alone, abs=1e-12)


def test_a_box_of_no_width_has_no_chance_and_one_without_ends_is_certain() -> None:
    together = np.array([[[1.0, 0.5], [0.5, 1.0]]] * 2)
    low = np.array([[0.0, 1.0], [-np.inf, -np.inf]])
    high = np.array([[1.0, 1.0], [np.inf, np.inf]])
    assert box_chances(low, high, together) == pytest.approx([0.0, 1.0])


def test_correlations_that_cannot_be_are_taken_for_the_nearest_that_can() -> None:
    odd = np.array([[[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]]])
    (found,) = box_chances(np.zeros((1, 3)), np.full((1, 3), np.inf), odd)
    assert 0.0 < found < 0.5
