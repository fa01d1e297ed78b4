"""How many more units would tell, against simulated tests and against what was promised."""

import numpy as np
import pytest
from scipy import stats

from registry.statistics import power
from registry.statistics.contrasted import Contrasted, contrasted
from registry.statistics.differences import Fit
from registry.statistics.power import MOST_UNITS, Needed, needed, power_apart, power_same
from tests.statistics.test_equivalence import pair


def needed_by(found: Fit, margin: float | None, family: int) -> Needed | None:
    """What one fit needs."""
    of = contrasted(found.alone)
    return needed(of, of.difference, np.array([np.nan if margin is None else margin]), family)[0]


@pytest.mark.parametrize(
    ("effect", "freedom", "margin"),
    [(0.0, 5, 4.0), (1.0, 8, 3.5), (0.0, 60, 3.0), (2.9, 20, 3.0), (0.0, 3, 1.0)],
)
def test_the_power_of_equivalence_agrees_with_simulated_tests(effect, freedom, margin) -> None:
    rng = np.random.default_rng(11)
    size = 200_000
    value = rng.normal(effect, 1, size)
    bar = stats.t.ppf(0.95, freedom) * np.sqrt(rng.chisquare(freedom, size) / freedom)
    share = np.mean((value + bar < margin) & (value - bar > -margin))
    assert power_same(effect, 1.0, freedom, margin) == pytest.approx(share, abs=0.004)


def test_the_power_of_a_difference_agrees_with_simulated_tests() -> None:
    rng = np.random.default_rng(12)
    size = 200_000
    t = rng.normal(2.5, 1, size) / np.sqrt(rng.chisquare(7, size) / 7)
    share = np.mean(np.abs(t) > stats.t.ppf(0.995, 7))
    assert power_apart(2.5, 1.0, 7, 0.01) == pytest.approx(share, abs=0.004)
    assert power_apart(0.0, 1.0, 7, 0.01) == pytest.approx(0.01)
    assert power_apart(3.0, 1.0, 1e6) == pytest.approx(stats.norm.sf(1.96 - 3), abs=1e-3)


def test_few_nodes_tell_the_same_as_many_where_degrees_of_freedom_are_many(monkeypatch) -> None:
    rng = np.random.default_rng(13)
    freedom, effect = np.exp(rng.uniform(np.log(20), 7, 2000)), np.exp(rng.uniform(-1, 4, 2000))
    margin = effect * rng.uniform(0.9, 2.0, 2000)
    few = power_apart(effect, 1.0, freedom, 0.05 / 150), power_same(effect, 1.0, freedom, margin)
    monkeypatch.setattr(power, "_MANY_DEGREES", np.inf)
    many = power_apart(effect, 1.0, freedom, 0.05 / 150), power_same(effect, 1.0, freedom, margin)
    np.testing.assert_allclose(few, many, rtol=0, atol=1e-10)
    assert ((many[0] > 0.1) & (many[0] < 0.9)).sum() > 50


@pytest.mark.parametrize("freedom", [1.0, 2.5, 9.0, 44.0, 400.0, 1e6])
def test_the_power_of_a_difference_never_falls_as_the_difference_grows(freedom: float) -> None:
    found = [power_apart(effect, 1.0, freedom, 0.05 / 18) for effect in np.linspace(0, 60, 200)]
    assert np.isfinite(found).all()
    assert (np.diff(found) >= -1e-9).all()
    assert found[0] == pytest.approx(0.05 / 18, rel=3e-3)
    assert found[-1] > (0.999 if freedom > 5 else 0.1)
    assert power_apart(-9.0, 1.0, freedom, 0.01) == power_apart(9.0, 1.0, freedom, 0.01)


def test_a_difference_that_nearly_shows_needs_few_more_units() -> None:
    for shift in np.linspace(11, 19, 17):
        found = pair(float(shift), units=6, unit=9.0)
        need = needed_by(found, 10.0, family=6)
        assert need is not None
        assert need.units <= 20


def test_near_nought_few_more_units_show_that_it_is_the_same() -> None:
    found = pair(0.5, units=3, unit=8.0)
    need = needed_by(found, 10.0, family=1)
    assert need is not None
    assert need.towards == "same"
    assert 3 <= need.units <= 40
    assert need.clinics == -(-need.units // 4)


def test_beyond_the_margin_units_show_that_it_is_different() -> None:
    found = pair(14.0, units=3, unit=12.0)
    need = needed_by(found, 10.0, family=6)
    assert need is not None
    assert need.towards == "different"
    more = needed_by(found, 10.0, family=60)
    assert more is not None
    assert more.units > need.units


def test_what_no_number_of_units_would_tell_is_said() -> None:
    found = pair(0.01, units=4, unit=20.0)
    assert needed_by(found, None, family=1) is None
    assert MOST_UNITS == 200


def test_the_units_named_are_enough() -> None:
    """What was said to tell with 80 % chance does, in simulated sequels of the same spread."""
    found = pair(3.0, units=4, unit=5.0)
    difference = found.estimate((-1, 1))
    need = needed_by(found, 10.0, family=1)
    assert need is not None
    rng = np.random.default_rng(13)
    sd, size = found.between_units(0)[0] ** 0.5, 4000
    further = rng.normal(3.0, sd * (2 / need.units) ** 0.5, size)
    weights = np.array([1 / difference.error**2, need.units / (2 * found.between_units(0)[0])])
    value = (weights[0] * rng.normal(3.0, difference.error, size) + weights[1] * further) / weights.sum()
    freedom = found.between_units(0)[1] + 2 * need.units - need.clinics - 1
    error = weights.sum() ** -0.5 * np.sqrt(rng.chisquare(freedom, size) / freedom)
    told = np.abs(value) + stats.t.ppf(0.95, freedom) * error < 10
    assert 0.77 <= np.mean(told) <= 0.9


def test_what_is_hopeless_changes_nothing_of_what_is_needed_elsewhere() -> None:
    pairs = [pair(shift, units=6, unit=9.0) for shift in (0.01, 14.0, 0.02, 11.0)]
    of = Contrasted(np.concatenate([contrasted(one.alone).table for one in pairs]))
    found = needed(of, of.difference, np.full(4, np.nan), 6)
    assert [need is None for need in found] == [True, False, True, False]
    assert found == [needed_by(one, None, 6) for one in pairs]
