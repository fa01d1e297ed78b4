"""Likelihoods of a bench's readings against plain sums over all that its lean may do."""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from registry.statistics.unlisted.leanings import SCALES, SIZES, tracks_of
from tests.statistics.unlisted.benched import quiet, rows

JUMPS = 0.1
FINE = np.arange(-14, 14, 0.1)


def density(apart: np.ndarray, scale: float, noise: float, wild: float) -> np.ndarray:
    core = stats.norm.pdf(apart, scale=(scale**2 + noise) ** 0.5)
    return (1 - wild) * core + wild * stats.norm.pdf(apart, scale=7.0)


def plain(value: np.ndarray, noise: float, scale: float, size: float, before: int) -> float:
    """Log likelihood of a bench: over shares of wild units, and over every unit that the lean may jump at."""
    apart = FINE[:, None] - FINE
    jump = 0.1 * (0.6 * stats.norm.pdf(apart, scale=1.2) + 0.4 * stats.norm.pdf(apart, scale=4.0))
    total = 0.0
    for wild, likely in ((0.03, 0.93), (0.2, 0.07)):
        each = [
            density(one - size * (place >= before) - FINE, scale, noise, wild)
            for place, one in enumerate(value)
        ]
        for jumped in product((False, True), repeat=value.size - 1):
            lean = np.full(FINE.size, 0.1) * each[0]
            for now, one in zip(jumped, each[1:], strict=True):
                lean = ((JUMPS * lean @ jump) if now else (1 - JUMPS) * lean) * one
            total += likely * lean.sum()
    return float(np.log(total))


@pytest.mark.parametrize("value", [[0.2, -0.4, 0.3, 3.1], [0.0, 9.0, -0.5], [0.1, -0.2, -4.2, -3.8, -4.1]])
def test_a_bench_is_as_likely_as_all_it_may_do_makes_it(value) -> None:
    table = rows(np.array(value) * 0.02, [0] * len(value))
    centred = np.array(value) - np.median(value)
    of = tracks_of([table], [JUMPS])
    for scale, size, before in ((1, 0, 0), (0, 4, 2), (2, 4 + SIZES.size // 2, 1), (3, 0, 2)):
        expected = plain(centred, 0.15**2, SCALES[scale], SIZES[size], before)
        assert of.table[before, scale, size] == pytest.approx(expected, abs=0.05)


def test_a_bench_that_jumps_says_so_and_one_that_keeps_still_does_not() -> None:
    still, clinic = np.random.default_rng(1).normal(0, 0.02, 12), np.zeros(12, int)
    jumped = still + 0.1 * (np.arange(12) >= 6)
    assert tracks_of([rows(still, clinic)], [0.01]).jumped[0] < 0.0
    assert tracks_of([rows(jumped, clinic)], [0.01]).jumped[0] > 5.0


def test_tables_weighed_together_are_as_each_alone() -> None:
    rng, clinic = np.random.default_rng(2), np.arange(20) % 3
    tables = [rows(quiet(rng, clinic), clinic)] * 2
    both = tracks_of(tables, [0.01, 0.05])
    for place, (table, jumps) in enumerate(zip(tables, (0.01, 0.05), strict=True)):
        alone, own = tracks_of([table], [jumps]), np.flatnonzero(both.table_of == place)
        assert both.length[own].tolist() == alone.length.tolist()
        for mine, other in zip(own, range(own.size), strict=True):
            first, second = both.first[mine], alone.first[other]
            found = both.table[first : first + both.length[mine]]
            assert found == pytest.approx(alone.table[second : second + alone.length[other]], abs=1e-9)


def test_a_long_bench_is_cut_into_pieces() -> None:
    of = tracks_of([rows(np.zeros(150), np.zeros(150, int))], [0.01])
    assert sorted(of.length.tolist()) == [50, 50, 50]
    assert sorted(of.unit[of.first].tolist()) == [0, 50, 100]


def test_a_unit_read_twice_says_no_more_than_once() -> None:
    value = np.tile(np.random.default_rng(3).normal(0, 0.02, 10), 2)
    clinic = np.repeat([0, 1], 10)
    twice = tracks_of([rows(value, clinic, unit=[*range(10), *range(10)])], [0.01])
    once = tracks_of([rows(value[:10], clinic[:10])], [0.01])
    size = 3
    gained = [
        sum(of.table[first + 5, 1, size] - of.table[first, 1, 0] for first in of.first)
        for of in (twice, once)
    ]
    assert abs(gained[0]) < 1.1 * abs(gained[1])
