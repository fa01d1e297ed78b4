"""Laboratories that stand out: what the tests find, and how often they cry wolf."""

import numpy as np
import pytest

from registry.statistics.consistency import (
    cochran,
    cochran_limit,
    grubbs,
    grubbs_pair,
    mandel_h,
    mandel_k,
    mandel_k_limit,
)
from registry.statistics.extremes import least_left_by_two, left_by_two

CALM = [10.1, 9.9, 10.0, 10.2, 9.8, 10.05]


def test_h_has_no_mean_and_unit_spread() -> None:
    h = mandel_h(CALM)
    assert h.mean() == pytest.approx(0, abs=1e-12)
    assert h.std(ddof=1) == pytest.approx(1)


def test_k_squares_average_to_one_over_freedom() -> None:
    freedom = np.array([2.0, 3.0, 4.0])
    k = mandel_k([0.1, 0.3, 0.2], freedom)
    assert freedom @ k**2 / freedom.sum() == pytest.approx(1)


def test_a_laboratory_alone_is_found() -> None:
    found = grubbs([*CALM, 14.0])
    assert (found.rows, found.standing) == ((6,), "outlier")
    assert grubbs(CALM).standing == ""


@pytest.mark.parametrize(("far", "end", "rows"), [(14.0, "high", {6, 7}), (6.0, "low", {6, 7})])
def test_of_a_pair_each_hides_the_other_from_the_single_test(far: float, end: str, rows: set[int]) -> None:
    means = [*CALM, far, far + 0.1]
    assert grubbs(means).standing == ""
    found = grubbs_pair(means, "low" if end == "low" else "high")
    assert (set(found.rows), found.standing) == (rows, "outlier")


def test_a_wide_spread_is_found_by_what_its_own_freedom_allows() -> None:
    found = cochran([0.1, 0.12, 0.09, 0.5], [2, 2, 2, 2])
    assert (found.rows, found.standing) == ((3,), "outlier")
    # The larger share is what nine repeats bring along; two results that far apart are the less likely.
    unequal = cochran([0.30, 0.28, 0.29, 1.1], [9, 9, 9, 1])
    assert unequal.rows == (3,)


def test_spreads_so_far_out_that_their_tails_underflow() -> None:
    assert cochran([1e-9, 1e-9, 1.0], [300, 300, 300]).rows == (2,)


def test_unequal_freedom_meets_the_balanced_limits() -> None:
    assert cochran_limit(6, 2, 0.05) == pytest.approx(cochran_limit(6, [2] * 6, 0.05))
    assert mandel_k_limit(6, [2] * 5 + [2.001])[0] == pytest.approx(mandel_k_limit(6, 2)[0], rel=1e-3)


def test_false_alarms_come_as_often_as_stated() -> None:
    rng = np.random.default_rng(3)
    freedom = np.array([1, 2, 2, 3, 5, 8])
    alarms = np.zeros(3)
    rounds = 2000
    for _ in range(rounds):
        spreads = np.sqrt(rng.chisquare(freedom) / freedom)
        means = rng.standard_normal(7)
        found = (cochran(spreads, freedom), grubbs(means), grubbs_pair(means, "low"))
        alarms += [item.standing != "" for item in found]
    # Binomial standard errors are 0.5 % and 0.35 %; Cochran's Bonferroni limits are a hair wide.
    assert alarms[:2] / rounds == pytest.approx([0.05, 0.05], abs=0.015)
    assert alarms[2] / rounds == pytest.approx(0.025, abs=0.0105)


def test_what_two_leave_is_a_distribution() -> None:
    grid = np.linspace(0, 1, 41)
    shares = [left_by_two(8, left) for left in grid]
    assert np.all(np.diff(shares) >= -1e-12)
    assert shares[0] == pytest.approx(0, abs=1e-6)
    assert shares[-1] == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("size", [4, 11, 40])
def test_what_two_leave_against_draws(size: int) -> None:
    sample = np.sort(np.random.default_rng(size).standard_normal((40_000, size)), axis=1)
    left = sample[:, :-2].var(axis=1) * (size - 2) / (sample.var(axis=1) * size)
    assert np.mean(left <= least_left_by_two(size, 0.05)) == pytest.approx(0.05, abs=0.0045)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: mandel_h([1.0, 2.0]), "at least 3"),
        (lambda: mandel_h([1.0, np.nan, 2.0]), "finite"),
        (lambda: mandel_h([1.0, 1.0, 1.0]), "same mean"),
        (lambda: grubbs_pair([1.0, 1.0, 1.0, 1.0], "low"), "same mean"),
        (lambda: mandel_k([0.0, 0.0], 2), "nothing spreads"),
        (lambda: mandel_k([0.1, -0.1], 2), "below nought"),
        (lambda: cochran([0.1, 0.2], [0, 2]), "two results"),
        (lambda: least_left_by_two(3, 0.05), "4 to 200"),
        (lambda: least_left_by_two(8, 1.0), "between 0 and 1"),
    ],
)
def test_what_cannot_be_tested_is_refused(call, words) -> None:
    with pytest.raises(ValueError, match=words):
        call()
