"""Differences, equivalence and power between two builds, against statsmodels.

Where one clinic reads every unit once with one gauge, the comparison is the two-sample t test; where it reads
each unit in both builds, the paired one. Equivalence is then the two one-sided tests of Schuirmann (1987).
"""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.power import TTestIndPower, TTestPower
from statsmodels.stats.weightstats import ttest_ind, ttost_ind, ttost_paired

from registry.statistics.differences import Readings, fit
from registry.statistics.equivalence import Margin, judge_pair
from registry.statistics.power import power_apart, power_same


def compared(old, new, margin: Margin, *, paired: bool = False, repeats: tuple[float, int] = (0.0, 0)):
    """Judge `new` against `old`, read once a unit by one clinic and gauge that declare no uncertainty.

    `repeats` gives the variance of repeated runs and its degrees of freedom, where there were such.
    """
    values = np.concatenate([old, new])
    rows = values.size
    units = np.arange(rows) if not paired else np.tile(np.arange(len(old)), 2)
    readings = Readings(
        cell=np.repeat([0, 1], [len(old), len(new)]),
        unit=units,
        group=np.zeros(rows, np.intp),
        mean=values,
        runs=np.ones(rows),
        systematic=np.zeros(rows),
        random=1e-9,
        squares=repeats[0] * repeats[1],
        freedom=repeats[1],
    )
    found = fit(readings)
    assert found is not None
    return judge_pair(found, margin, family=1)


def found_unlike(old: np.ndarray, new: np.ndarray) -> bool:
    """Whether an F test at 5 % by scipy tells the two scatters apart."""
    ratio, degrees = new.var(ddof=1) / old.var(ddof=1), (new.size - 1, old.size - 1)
    return bool(2 * min(stats.f.sf(ratio, *degrees), stats.f.cdf(ratio, *degrees)) <= 0.05)


@pytest.mark.parametrize("seed", range(12))
def test_a_spread_that_few_units_tell_is_drawn_towards_the_common_one(seed) -> None:
    rng = np.random.default_rng(seed)
    old, new = 70 + rng.uniform(-1.5, 1.5, 8), 70.5 + rng.uniform(-1.5, 1.5, rng.integers(2, 5))
    if found_unlike(old, new):
        pytest.fail("the draw is no case of this; choose another")
    # Smyth, Stat. Appl. Genet. Mol. Biol. 3 (2004), formula from memory: a prior worth half a degree.
    degrees = np.array([old.size - 1, new.size - 1])
    own = np.array([old.var(ddof=1), new.var(ddof=1)])
    drawn = (0.5 * (degrees @ own) / degrees.sum() + degrees * own) / (0.5 + degrees)
    parts = drawn / (degrees + 1)
    found = compared(old, new, Margin(2.0)).difference
    assert found.error == pytest.approx(parts.sum() ** 0.5, rel=1e-6)
    assert found.freedom == pytest.approx(parts.sum() ** 2 / (parts**2 @ (1 / (degrees + 0.5))), rel=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_two_samples(seed) -> None:
    rng = np.random.default_rng(seed)
    old, new = (
        70 + rng.uniform(-1.5, 1.5, rng.integers(6, 12)),
        70.5 + rng.uniform(-1.5, 1.5, rng.integers(6, 12)),
    )
    found = compared(old, new, Margin(2.0))
    usevar = "unequal" if found_unlike(old, new) else "pooled"
    _, p_apart, freedom = ttest_ind(new, old, usevar=usevar)
    p_same, lower, upper = ttost_ind(new, old, -2.0, 2.0, usevar=usevar)
    assert found.difference.freedom == pytest.approx(freedom, rel=1e-6)
    assert found.p_apart == pytest.approx(p_apart, rel=1e-5)
    assert found.p_same == pytest.approx(p_same, rel=1e-5, abs=1e-12)
    assert p_same == max(lower[1], upper[1])
    assert (found.verdict == "same") == (p_same <= 0.05)


@pytest.mark.parametrize("seed", range(8))
def test_units_read_in_both_builds(seed) -> None:
    rng = np.random.default_rng(100 + seed)
    base = rng.normal(200, 15, 7)
    old, new = base + rng.uniform(-1, 1, 7), base + 4 + rng.uniform(-1, 1, 7)
    apart = new - old
    # Repeats are taken to scatter as the differences do, which is all that a paired test knows of.
    repeats = (float(apart.var(ddof=1)) / 2, apart.size - 1)
    found = compared(old, new, Margin(4.2), paired=True, repeats=repeats)
    p_same, *_ = ttost_paired(new, old, -4.2, 4.2)
    assert found.difference.value == pytest.approx(apart.mean())
    assert found.difference.error == pytest.approx(apart.std(ddof=1) / 7**0.5, rel=1e-6)
    assert found.p_same == pytest.approx(p_same, rel=1e-5)


@pytest.mark.parametrize(("units", "effect"), [(4, 1.5), (6, 2.0), (10, 1.0), (40, 0.5), (6, 0.0)])
def test_power_of_two_samples(units, effect) -> None:
    theirs = TTestIndPower().power(effect, units, 0.05, ratio=1, alternative="two-sided")
    mine = power_apart(effect, (2 / units) ** 0.5, 2 * units - 2)
    assert mine == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize(("units", "effect"), [(5, 1.2), (12, 0.8)])
def test_power_of_one_sample(units, effect) -> None:
    theirs = TTestPower().power(effect, units, 0.05, alternative="two-sided")
    assert power_apart(effect, units**-0.5, units - 1) == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize(("units", "effect", "margin"), [(6, 0.0, 2.0), (10, 0.5, 1.5), (4, 1.0, 2.5)])
def test_power_to_show_equivalence_by_drawing_experiments(units, effect, margin) -> None:
    rng = np.random.default_rng(units)
    rounds = 20_000
    old, new = rng.normal(0, 1, (units, rounds)), rng.normal(effect, 1, (units, rounds))
    p_same, *_ = ttost_ind(new, old, -margin, margin, usevar="pooled")
    mine = power_same(effect, (2 / units) ** 0.5, 2 * units - 2, margin)
    # Three standard errors of a share of 20 000.
    assert mine == pytest.approx(np.mean(p_same <= 0.05), abs=0.011)
