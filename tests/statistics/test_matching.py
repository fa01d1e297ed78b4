"""Chances of meeting needs."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics.differences import Estimate
from registry.statistics.domains import domain_of
from registry.statistics.matching import (
    Need,
    Predictions,
    chance,
    chance_alone,
    chances_alone,
    within,
)

RATE, VACUUM = Estimate(72.0, 2.0, 7.0), Estimate(230.0, 6.0, 12.0)


def box(rho: float, *, size: int = 400_000) -> float:
    """The same chance by simulation: normal copula, t margins."""
    rng = np.random.default_rng(3)
    x = rng.multivariate_normal([0, 0], [[1, rho], [rho, 1]], size)
    rate = 72 + 2 * stats.t.ppf(stats.norm.cdf(x[:, 0]), 7)
    vacuum = 230 + 6 * stats.t.ppf(stats.norm.cdf(x[:, 1]), 12)
    return float(np.mean((rate >= 70) & (vacuum >= 220) & (vacuum <= 240)))


def test_one_need_is_met_by_the_share_of_students_t() -> None:
    assert chance_alone(RATE, Need(70, None)) == pytest.approx(stats.t.cdf(1.0, 7))
    assert chance_alone(RATE, Need(None, 70)) == pytest.approx(stats.t.sf(1.0, 7))
    assert chance_alone(Estimate(1.0, 0.0, 1e6), Need(1.0, 2.0)) == 1.0
    assert chance_alone(Estimate(3.0, 0.0, 1e6), Need(1.0, 2.0)) == 0.0
    assert chance_alone(Estimate(0.0, 1.0, 5.0), Need(60.0, None)) == pytest.approx(
        stats.t.sf(60, 5), rel=1e-4
    )


@pytest.mark.parametrize("rho", [-0.8, 0.0, 0.5, 0.9])
def test_two_needs_at_once_agree_with_simulation(rho) -> None:
    together = np.array([[1.0, rho], [rho, 1.0]])
    found = chance([RATE, VACUUM], [Need(70, None), Need(220, 240)], together)
    assert found == pytest.approx(box(rho), abs=0.003)


def test_without_correlation_chances_multiply_however_many() -> None:
    needs = [Need(70, None), Need(220, 240), Need(None, 76)]
    aheads = [RATE, VACUUM, RATE]
    alone = [chance_alone(a, n) for a, n in zip(aheads, needs, strict=True)]
    assert chance(aheads, needs, np.eye(3)) == pytest.approx(float(np.prod(alone)), abs=1e-3)
    assert chance(aheads[:2], needs[:2], np.eye(2)) == pytest.approx(alone[0] * alone[1], abs=1e-6)
    assert chance([RATE, Estimate(0.0, 0.0, 9.0)], [Need(70, None), Need(1, 2)], np.eye(2)) == 0.0


@pytest.mark.parametrize("ends", [(None, None), (2.0, 1.0)])
def test_a_need_that_nothing_or_everything_meets_is_refused(ends) -> None:
    with pytest.raises(ValueError, match="end"):
        Need(*ends)


def test_a_need_knows_which_values_there_can_be() -> None:
    share = domain_of("loss_rate")
    ahead = Estimate(0.0, 1.2, 12.0)
    assert chance_alone(ahead, within(Need(0.0, None), share)) == 1.0
    assert chance_alone(ahead, within(Need(-5.0, -1.0), share)) == 0.0
    assert chance_alone(ahead, within(Need(0.0, 1.0), share)) == chance_alone(ahead, Need(None, 1.0))
    assert chance_alone(ahead, within(Need(1.0, 200.0), share)) == chance_alone(ahead, Need(1.0, None))
    both = chance([ahead, ahead], [within(Need(0.0, None), share), Need(None, 1.0)], np.eye(2))
    assert both == pytest.approx(chance_alone(ahead, Need(None, 1.0)), abs=1e-4)


def places(number: int) -> Predictions:
    rng = np.random.default_rng(5)
    value = np.stack([rng.uniform(50, 90, number), rng.uniform(100, 300, number)], axis=1)
    return Predictions(
        value,
        rng.uniform(1, 8, (number, 2)) * (rng.random((number, 2)) > 0.02),
        rng.uniform(2, 60, (number, 2)),
    )


def test_many_places_at_once_are_each_as_alone() -> None:
    ahead = places(50)
    needs = (Need(70, None), Need(200, 240))
    at_once = chances_alone(ahead, needs)
    for row in range(50):
        for metric in (0, 1):
            one = Estimate(*(float(of[row, metric]) for of in (ahead.value, ahead.error, ahead.freedom)))
            assert at_once[row, metric] == chance_alone(one, needs[metric])
    low, high = ahead.intervals()
    first = Estimate(float(ahead.value[0, 0]), float(ahead.error[0, 0]), float(ahead.freedom[0, 0]))
    assert (low[0, 0], high[0, 0]) == first.interval()


@pytest.mark.parametrize(("at_bound", "units", "chance"), [(4, 4, 5 / 6), (9, 9, 10 / 11), (7, 8, 0.8)])
def test_what_no_unit_was_read_off_goes_by_how_many_units_there_are(at_bound, units, chance) -> None:
    """Source: the rule of succession, (s + 1) / (n + 2)."""
    mean = 0.0 if at_bound == units else 0.5
    ahead = Predictions(*(np.array([of]) for of in (mean, 2.0, 5.0)))
    held = ahead.with_bound(np.array([float(at_bound)]), np.array([float(units)]))
    assert chances_alone(held, [within(Need(None, 0.0), domain_of("loss_rate"))])[0] == pytest.approx(chance)
    # More than that can only be likelier, and what does not hold the bound is left the rest.
    wider = [
        chances_alone(held, [within(Need(None, end), domain_of("loss_rate"))])[0] for end in (0.5, 2.0, 20.0)
    ]
    assert chance - 1e-12 <= wider[0] <= wider[1] <= wider[2]
    assert wider[2] > 0.999
    assert chances_alone(held, [Need(0.1, None)])[0] <= 1 - chance + 1e-12


def test_a_bound_that_no_unit_lies_at_changes_nothing() -> None:
    ahead = places(3)
    assert ahead.with_bound(np.zeros(ahead.value.shape), np.full(ahead.value.shape, 9.0)) is ahead


def test_units_at_a_bound_that_nothing_else_is_known_of_are_not_sure_to_stay_there() -> None:
    """Where nothing at all varies a Student's t is certain; four units are no certainty."""
    ahead = Predictions(*(np.array([of, of]) for of in (0.0, 0.0, 5.0)))
    held = ahead.with_bound(np.array([4.0, 0.0]), np.array([4.0, 4.0]))
    found = chances_alone(held, [within(Need(None, 0.0), domain_of("loss_rate"))])
    assert found == pytest.approx([5 / 6, 1.0])
