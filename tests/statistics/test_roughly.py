"""Rough chances, and the bounds they lie between."""

import numpy as np
import pytest

from registry.statistics.boxes import EXACT, ROUGH, ROUGHLY, pair_chances
from registry.statistics.matching import Need, Predictions, beside, chances
from registry.statistics.roughly import CERTAIN, NEVER, Column, Open

NUMBER = 600
NEEDS = {
    "open above": (Need(-1, None), Need(-0.5, None), Need(-2, None)),
    "closed": (Need(-1, 2), Need(-0.5, 3), Need(-2, 1)),
    "mixed": (Need(None, 1), Need(-0.5, 3), Need(-9, None)),
    "wide": (Need(-9, 9), Need(-7, None), Need(None, 11)),
    "narrow": (Need(0.1, 0.3), Need(-0.2, 0.2), Need(0.5, 0.6)),
    "two": (Need(0.1, 1.3), Need(-0.2, None)),
    "one": (Need(0.1, None),),
}


def opened(needs, seed=2, freedom=(3, 60)) -> tuple[Open, list[Predictions], np.ndarray]:
    rng = np.random.default_rng(seed)
    ahead = [
        Predictions(rng.normal(0, 1, NUMBER), rng.uniform(0.3, 2, NUMBER), rng.uniform(*freedom, NUMBER))
        for _ in needs
    ]
    own, common = rng.normal(size=(NUMBER, len(needs), 8)), rng.normal(size=(NUMBER, 1, 8))
    size = rng.uniform(0, 3, (NUMBER, 1, 1))
    together = np.array([np.atleast_2d(np.corrcoef(rows)) for rows in own + size * common])
    together[:, np.arange(len(needs)), np.arange(len(needs))] = 1.0
    of = Open.of(
        [Column.of(one) for one in ahead], needs, lambda rows, one, other: together[rows][:, one, other].T
    )
    return of, ahead, together


@pytest.mark.parametrize("needs", NEEDS.values(), ids=NEEDS)
def test_rough_chances_lie_between_their_bounds_however_they_are_found(needs) -> None:
    of, _, _ = opened(needs)
    every = np.arange(of.rows.size)
    exact = of.work_out(every, exactly=True)
    assert of.work_out(every) == pytest.approx(exact, abs=3 * ROUGHLY)
    for low, high in (of.bounds_apart(every), of.bounds(every)):
        # What would be told as certain is 1, and next to nothing 0.
        assert np.all(low <= exact + 1e-8)
        assert np.all((exact <= high + 1e-9) | (high >= CERTAIN))


@pytest.mark.parametrize("needs", NEEDS.values(), ids=NEEDS)
def test_how_metrics_go_together_narrows_the_bounds_down(needs) -> None:
    of, _, _ = opened(needs)
    every = np.arange(of.rows.size)
    (low, high), (lower, higher) = of.bounds(every), of.bounds_apart(every)
    assert np.mean(high - low) <= np.mean(higher - lower) + 1e-12
    if len(needs) > 1:
        assert np.mean(high - low) < np.mean(higher - lower)


@pytest.mark.parametrize(("needs", "off"), [("one", 0.005), ("two", 0.01), ("open above", 0.06)])
def test_rough_chances_are_near_the_chances(needs, off) -> None:
    of, ahead, together = opened(NEEDS[needs])
    every = chances(beside(ahead), NEEDS[needs], together)
    assert of.work_out(np.arange(of.rows.size)) == pytest.approx(every[of.rows], abs=off)
    assert np.all(np.delete(every, of.rows) < 10 * NEVER)


def test_what_is_missed_nowhere_is_certain_and_what_cannot_be_met_is_left_out() -> None:
    of, _, _ = opened((Need(-500, None), Need(None, 400), Need(-900, 900)), freedom=(20, 60))
    every = np.arange(of.rows.size)
    assert np.all(of.bounds_apart(every)[0] >= CERTAIN)
    assert np.all(of.work_out(every) == 1.0)
    assert opened((Need(500, None), Need(None, 400)), freedom=(20, 60))[0].rows.size == 0


def test_chances_everywhere_fill_in_what_was_left_out() -> None:
    of, _, _ = opened((Need(2.5, None),), freedom=(20, 60))
    assert 0 < of.rows.size < NUMBER
    everywhere = of.everywhere(of.least, -1.0)
    assert np.array_equal(everywhere[of.rows], of.least)
    assert np.all(np.delete(everywhere, of.rows) == -1.0)


@pytest.mark.parametrize(("least", "most"), [(0.0, 0.6), (0.6, 0.9), (0.9, 0.99)])
def test_pairs_at_little_cost_are_as_good_as_is_said(least, most) -> None:
    rng = np.random.default_rng(9)
    rho = rng.uniform(least, most, 20_000) * rng.choice([-1, 1], 20_000)
    low = 1.5 * rng.normal(size=(2, rho.size))
    ends = [(of, of + rng.exponential(2, rho.size)) for of in low]
    exact, rough = (pair_chances(rho, *ends, rules) for rules in (EXACT, ROUGH))
    off = np.abs(rough - exact)
    assert 0 < off.max() < ROUGHLY
