"""The quick solver gives what the covariance written out gives."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.statistics.mixed import Cover

ROWS = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 3), st.floats(0.1, 5)), min_size=1, max_size=12)


@settings(deadline=None)
@given(rows=ROWS, of_unit=st.floats(0, 10), of_group=st.lists(st.floats(0.01, 10), min_size=4, max_size=4))
def test_against_the_covariance_written_out(
    rows: list[tuple[int, int, float]], of_unit: float, of_group: list[float]
) -> None:
    unit, group = np.array([r[0] for r in rows]), np.array([r[1] for r in rows])
    noise = np.array([r[2] for r in rows])
    groups = np.array(of_group)[: group.max() + 1]
    full = np.diag(noise) + of_unit * (unit[:, None] == unit)
    full += groups[group][:, None] * (group[:, None] == group)
    right = np.column_stack([np.ones(len(rows)), np.arange(len(rows))]).astype(float)
    cover = Cover(unit, group, noise, of_unit, groups)
    assert cover.solve(right) == pytest.approx(np.linalg.solve(full, right), rel=1e-6, abs=1e-8)
    assert cover.solve(right[:, 0]) == pytest.approx(cover.solve(right)[:, 0])


def test_effects_of_units_in_cells_and_a_variance_a_unit() -> None:
    rng = np.random.default_rng(1)
    unit, cell, group = rng.integers(5, size=20), rng.integers(3, size=20), rng.integers(3, size=20)
    unit[:5], group[:3] = np.arange(5), np.arange(3)
    pair = np.unique(3 * unit + cell, return_inverse=True)[1]
    noise, of_unit, of_group = rng.uniform(0.5, 2, 20), rng.uniform(0, 4, 5), rng.uniform(0.5, 4, 3)
    full = np.diag(noise) + of_unit[unit][:, None] * (unit[:, None] == unit)
    full += 1.7 * (pair[:, None] == pair) + of_group[group][:, None] * (group[:, None] == group)
    right = rng.normal(size=(20, 2))
    solved = Cover(unit, group, noise, of_unit, of_group, pair, 1.7).solve(right)
    assert solved == pytest.approx(np.linalg.solve(full, right), rel=1e-8)


def test_a_table_without_any_spread_weighs_rows_alike() -> None:
    none = np.zeros(3)
    solved = Cover(np.array([0, 1, 2]), np.array([0, 0, 1]), none, 0.0, np.zeros(2)).solve(np.ones(3))
    assert np.isfinite(solved).all()
    assert (solved > 0).all()
