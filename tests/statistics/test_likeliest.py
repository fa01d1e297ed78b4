"""The likeliest of many places are those of working all of them out, though few are."""

import numpy as np
import pytest

from registry.statistics.likeliest import DIGITS, Likeliest, likeliest
from registry.statistics.matching import Need, Predictions, beside, chances, chances_alone
from registry.statistics.roughly import Bound, Column

TWO = (
    (Need(70, None), Need(200, 240)),
    (Need(40, None), Need(50, None)),
    (Need(89, None), Need(None, 101)),
    (Need(60, 80), Need(180, 230)),
    (Need(500, None), Need(200, 240)),
)


def places(number: int) -> list[Predictions]:
    rng = np.random.default_rng(5)
    values = rng.uniform(50, 90, number), rng.uniform(100, 300, number)
    return [
        Predictions(
            value, rng.uniform(1, 8, number) * (rng.random(number) > 0.02), rng.uniform(2, 60, number)
        )
        for value in values
    ]


def columns(ahead: list[Predictions]) -> list[Column]:
    return [Column.of(one) for one in ahead]


def pairs(rho):
    one = np.ones_like(rho)
    return np.stack([np.stack([one, rho], axis=1), np.stack([rho, one], axis=1)], axis=1)


def bound(together) -> Bound:
    """What tells the correlations of pairs at some places."""
    return lambda rows, one, other: together[rows][:, one, other].T


def several(number: int, metrics: int, seed: int = 8):
    """Places of metrics that go together by half."""
    rng = np.random.default_rng(seed)
    ahead = [
        Predictions(rng.normal(0, 1, number), rng.uniform(0.5, 2, number), rng.uniform(4, 60, number))
        for _ in range(metrics)
    ]
    drawn = ((rng.normal(size=(metrics, 30)), rng.normal(size=30)) for _ in range(number))
    return ahead, np.array([np.corrcoef(own + common) for own, common in drawn])


def check(found: Likeliest, every, most: int, off: float) -> None:
    """The best that were worked out are the best of all, and as many are likely but for rough ones."""
    assert np.array_equal(found.chances, np.round(every[found.rows], DIGITS))
    assert np.all(np.diff(found.chances) <= 0)
    assert found.chances[:most].tolist() == np.sort(np.round(every, DIGITS))[::-1][:most].tolist()
    assert np.count_nonzero(every >= 0.5 + off) <= found.likely <= np.count_nonzero(every >= 0.5 - off)


@pytest.mark.parametrize("needs", TWO)
@pytest.mark.parametrize("strong", [0.3, 0.9])
def test_of_two_needs(needs, strong) -> None:
    ahead = places(900)
    together = pairs(np.random.default_rng(6).uniform(-strong, strong, 900))
    found = likeliest(columns(ahead), needs, bound(together), 30, 0.5)
    check(found, chances(beside(ahead), needs, together), 30, 0.01)
    assert found.rows.size <= 60
    assert np.array_equal(found.alone, chances_alone(beside(ahead), needs)[found.rows])


@pytest.mark.parametrize("metrics", [3, 4])
def test_of_more_needs(metrics) -> None:
    ahead, together = several(700, metrics)
    needs = (Need(-1, None), Need(-0.5, 2), Need(None, 1), Need(-2, 1))[:metrics]
    asked: list[int] = []

    def of_rows(rows, one, other):
        asked.append(rows.size)
        return bound(together)(rows, one, other)

    found = likeliest(columns(ahead), needs, of_rows, 30, 0.5)
    check(found, chances(beside(ahead), needs, together), 30, 0.03)
    assert asked[-1] < 100


def test_of_one_need_there_is_nothing_to_put_together() -> None:
    ahead, needs = places(500)[:1], (Need(70, 75),)
    found = likeliest(columns(ahead), needs, bound(np.ones((500, 1, 1))), 20, 0.5)
    check(found, chances_alone(beside(ahead), needs)[:, 0], 20, 0.005)


def test_few_places_are_all_worked_out_and_equals_stay_in_order() -> None:
    ahead = [Predictions(np.full(9, 5.0), np.ones(9), np.full(9, 8.0))] * 2
    needs, together = (Need(4, None), Need(None, 6)), np.broadcast_to(np.eye(2), (9, 2, 2))
    found = likeliest(columns(ahead), needs, bound(together), 9, 0.5)
    assert found.rows.tolist() == list(range(9))
    assert found.likely == 9


def test_of_places_that_are_all_certain_the_first_are_told() -> None:
    together = np.broadcast_to(np.eye(2), (2000, 2, 2))
    sure = [Predictions(one.value, one.error, np.full(2000, 30.0)) for one in places(2000)]
    needs = (Need(-1000, None), Need(None, 1500))
    found = likeliest(columns(sure), needs, bound(together), 30, 0.5)
    assert (found.rows[:30].tolist(), found.likely) == (list(range(30)), 2000)
    assert np.all(found.chances == 1.0)


def test_certain_places_come_in_the_order_of_their_rows_among_others() -> None:
    number, rng = 900, np.random.default_rng(4)
    ahead = [Predictions(rng.uniform(0, 9, number), np.ones(number), np.full(number, 30.0)) for _ in range(2)]
    together = pairs(np.full(number, 0.4))
    needs = (Need(-3, None), Need(-3, None))
    found = likeliest(columns(ahead), needs, bound(together), 60, 0.5)
    every = np.round(chances(beside(ahead), needs, together), DIGITS)
    assert np.count_nonzero(every == 1.0) > 60
    assert found.rows[:60].tolist() == np.lexsort((np.arange(number), -every))[:60].tolist()


def test_where_no_place_meets_a_need_those_that_come_first_are_told() -> None:
    together = np.broadcast_to(np.eye(2), (400, 2, 2))
    needs = (Need(np.inf, np.inf), Need(0, None))
    found = likeliest(columns(places(400)), needs, bound(together), 30, 0.5)
    assert (found.rows[:30].tolist(), found.likely) == (list(range(30)), 0)
    assert np.all(found.chances == 0.0)


@pytest.mark.parametrize("metrics", [2, 3, 5])
@pytest.mark.parametrize("low", [-0.8, 0.0, 0.8])
def test_few_more_places_are_worked_out_than_are_told_and_none_is_missed(metrics, low) -> None:
    ahead, together = several(1500, metrics, seed=metrics)
    needs = (Need(low, None),) * metrics
    found = likeliest(columns(ahead), needs, bound(together), 40, 0.5)
    every = np.round(chances(beside(ahead), needs, together), DIGITS)
    off = 0 if metrics < 5 else 0.002
    assert found.chances[:40] == pytest.approx(np.sort(every)[::-1][:40], abs=off)
    assert found.rows.size <= 80
    assert metrics > 2 or found.rows.size <= 50


def test_likely_places_are_counted_by_bounds_as_by_working_all_out() -> None:
    ahead, together = several(1500, 2, seed=3)
    needs = (Need(-0.7, None), Need(-0.7, 3))
    found = likeliest(columns(ahead), needs, bound(together), 20, 0.5)
    every = np.round(chances(beside(ahead), needs, together), DIGITS)
    assert found.likely == pytest.approx(np.count_nonzero(every >= 0.5), abs=1)
