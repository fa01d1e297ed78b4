"""Bounds on the chance of the largest of correlated figures, against simulation."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.unlisted.chance import chain_of, of_effect, of_largest
from registry.statistics.unlisted.within import Within
from tests.statistics.unlisted.benched import rows


def test_one_figure_is_as_unlikely_as_it_is() -> None:
    assert of_largest(0.01, np.array([])) == 0.01
    assert of_effect(2.0, 10) == pytest.approx(2 * stats.t.sf(2.0, 10))


def test_independent_figures_add_up_and_equal_ones_do_not() -> None:
    assert of_largest(0.001, np.zeros(9)) == pytest.approx(0.01, rel=0.01)
    assert of_largest(0.001, np.ones(9)) == pytest.approx(0.001, rel=1e-6)


@pytest.mark.parametrize("alone", [0.02, 0.005])
def test_the_bound_holds_for_steps_and_is_no_waste(alone) -> None:
    rng = np.random.default_rng(1)
    clinic = np.arange(24) % 3
    within = Within(rows(np.zeros(24), clinic))
    places = np.arange(3, 20)
    information = within.steps()[1]
    z = stats.norm.isf(alone / 2)
    largest = []
    for _ in range(4000):
        table = within.rows
        value = rng.normal(0, table.spread, 24) + rng.normal(0, table.noise**0.5)
        score = -np.cumsum(within.left(value)[0])[:-1]
        largest.append(np.abs(score[places] / np.sqrt(information[places])).max())
    seen = float(np.mean(np.array(largest) >= z))
    bound = of_largest(alone, within.neighbours(places))
    assert seen <= bound + 3 * (bound / 4000) ** 0.5
    assert bound <= 1.8 * seen + 3 * (bound / 4000) ** 0.5
    assert bound < 0.7 * alone * places.size


def test_a_chain_takes_the_likest_first() -> None:
    table = np.array([[1.0, 0.2, 0.9], [0.2, 1.0, 0.3], [0.9, 0.3, 1.0]])
    assert chain_of(table).tolist() == [0.9, 0.3]
