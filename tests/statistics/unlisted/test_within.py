"""Differences within benches against a plain solution of the whole least squares problem."""

from dataclasses import replace

import numpy as np
import pytest

from registry.statistics.unlisted.within import Within
from tests.statistics.unlisted.benched import rows


@pytest.fixture
def table():
    rng = np.random.default_rng(1)
    unit = [0, 0, 1, 2, 3, 3, 4, 5, 6, 7, 7, 7]
    clinic = [0, 1, 0, 0, 0, 2, 1, 1, 2, 0, 1, 2]
    return rows(rng.normal(size=12), clinic, unit=unit)


def plain(table, over):
    """Slope, information and squares left by generalised least squares on the whole covariance."""
    same = table.unit[:, None] == table.unit[None, :]
    inverse = np.linalg.inv(np.diag(table.noise) + table.spread**2 * same)
    design = np.column_stack([np.eye(table.benches)[table.bench], over[table.unit]])
    normal = design.T @ inverse @ design
    effects = np.linalg.solve(normal, design.T @ inverse @ table.value)
    rest = table.value - design @ effects
    return effects[-1], 1 / np.linalg.inv(normal)[-1, -1], rest @ inverse @ rest


@pytest.mark.parametrize("before", [1, 3, 5, 7])
def test_a_step_is_what_generalised_least_squares_says(table, before) -> None:
    over = (np.arange(8) >= before).astype(float)
    effect = Within(table).effect(over)
    assert (effect.size, effect.information, effect.rest) == pytest.approx(plain(table, over), rel=1e-7)
    score, information, squares = Within(table).steps()
    assert score[before - 1] / information[before - 1] == pytest.approx(effect.size, rel=1e-7)
    assert squares - score[before - 1] ** 2 / information[before - 1] == pytest.approx(effect.rest, rel=1e-7)


def test_a_slope_is_what_generalised_least_squares_says(table) -> None:
    over = np.random.default_rng(2).normal(size=8)
    effect = Within(table).effect(over)
    assert (effect.size, effect.information, effect.rest) == pytest.approx(plain(table, over), rel=1e-7)


def test_what_follows_the_bench_holds_no_information() -> None:
    nested = rows(np.random.default_rng(3).normal(size=8), [0, 0, 0, 0, 1, 1, 1, 1])
    effect = Within(nested).effect((np.arange(8) >= 4).astype(float))
    assert (effect.information, effect.size) == (0.0, 0.0)


def test_units_read_twice_count_once() -> None:
    value = np.tile(np.random.default_rng(4).normal(size=8), 2)
    twice = rows(value, [0] * 8 + [1] * 8, unit=[*range(8), *range(8)])
    once = rows(value[:8], [0] * 8)
    over = (np.arange(8) >= 4).astype(float)
    ratio = Within(twice).effect(over).information / Within(once).effect(over).information
    assert 1.0 < ratio < 1.05


def test_other_figures_of_the_same_rows_are_read_by_the_same_weights(table) -> None:
    value = np.random.default_rng(5).normal(size=12)
    over = (np.arange(8) >= 3).astype(float)
    found = Within(table).reading(value).effect(over)
    assert (found.size, found.information, found.rest) == pytest.approx(
        plain(replace(table, value=value), over), rel=1e-7
    )
