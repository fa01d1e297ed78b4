"""The trials of comparisons and part swaps, in short."""

import numpy as np
import pytest

from tests.trial.communities import METRICS, Spreads, fixed_plan
from tests.trial.comparing import KINDS, Verdicts, compared, draw, swapped


@pytest.mark.parametrize("kind", ["sound", "5 % wild units"])
def test_equal_builds_are_hardly_ever_called_different(kind: str) -> None:
    found = compared(KINDS[kind], 60, seed=5)
    assert found.communities == 60
    assert found.share("different") <= 0.12
    for metric in METRICS:
        assert found.coverage(metric) >= 0.88


def test_builds_apart_are_hardly_ever_called_same() -> None:
    found = compared(KINDS["sound"], 40, seed=6, rate=0.925, vacuum=15.0)
    assert found.share("same") == 0.0
    assert found.share("any_same") <= 0.1


def test_a_rate_down_by_a_tenth_is_called_different() -> None:
    found = compared(KINDS["sound"], 40, seed=7, plan=fixed_plan(3, 2, 3, 2), rate=0.9)
    assert found.share("different") >= 0.9


def test_verdicts_are_counted_a_community() -> None:
    rng = np.random.default_rng(8)
    found = Verdicts()
    found.add(draw(rng, fixed_plan(3, 6, 6, 2), Spreads(), rate=0.7, vacuum=-60.0))
    assert (found.communities, found.different, found.same, found.any_same) == (1, 1, 0, 0)
    found.add(draw(rng, fixed_plan(4, 8, 6, 2), Spreads(rate_between=0.001, vacuum_between=0.1)))
    assert (found.communities, found.different, found.same, found.any_same) == (2, 1, 1, 1)


def test_shares_of_a_swap_hold_the_truth() -> None:
    for held in swapped(KINDS["sound"], 80, seed=9).values():
        assert len(held) == 80
        assert np.mean(held) >= 0.85


def test_a_few_new_units_are_told_as_surely_as_they_can_be() -> None:
    beyond = compared(KINDS["2-3 new units scatter four times"], 60, seed=11)
    assert beyond.share("different") <= 0.5
    fallen = compared(KINDS["2-3 new units"], 60, seed=12, rate=0.9)
    assert fallen.share("different") >= 0.75
    for metric in METRICS:
        assert beyond.coverage(metric) >= 0.8
        assert fallen.coverage(metric) >= 0.9
