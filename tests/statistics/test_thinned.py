"""Tables that lose different units, fitted side by side, against each set of units by itself."""

import numpy as np
import pytest

from registry.statistics.contrasted import contrasted
from registry.statistics.covers import weights_of
from registry.statistics.designs import design_of
from registry.statistics.differences import Fits, fits
from registry.statistics.henderson import nothing_of_their_own, spread
from registry.statistics.tables import Tables
from registry.statistics.thinned import can_thin, thinned

NOBODY = np.zeros(0, np.intp)


def tables(seed: int, *, units: int = 14, groups: int = 4, size: int = 6) -> Tables:
    """Few units in the first cell and more in the second, some read by several groups."""
    rng = np.random.default_rng(seed)
    first = int(rng.integers(1, 4))
    unit = np.concatenate([np.arange(units), rng.integers(0, units, units // 2)])
    cell = (unit >= first).astype(np.intp)
    group = rng.integers(0, groups, unit.size)
    group = np.unique(group, return_inverse=True)[1]
    shape = (size, unit.size)
    return Tables(
        design_of(cell, unit, group, np.arange(2)),
        mean=100 + rng.normal(0, 3, shape) + rng.normal(0, 1, (size, groups))[:, group],
        runs=rng.integers(1, 5, shape).astype(float),
        systematic=rng.uniform(0, 0.5, shape),
        random=rng.uniform(0.05, 0.2, size),
        squares=rng.uniform(1, 3, size),
        freedom=np.full(size, 20.0),
        fixed=np.array([0]) if seed % 2 else None,
    )


def lost(of: Tables, seed: int) -> np.ndarray:
    """Up to three units of the second cell are lost, others by each table; the last one loses none."""
    rng = np.random.default_rng(seed)
    wild = np.zeros((of.mean.shape[0], of.design.units), bool)
    for table in wild[:-1]:
        table[rng.integers(4, of.design.units, 3)] = True
    return wild


@pytest.mark.parametrize("seed", range(30))
def test_each_table_is_fitted_as_by_itself_without_the_units_it_lacks(seed: int) -> None:
    of = tables(seed)
    wild = lost(of, seed)
    together = thinned(of, wild)
    assert together is not None
    left, found = together
    beside = contrasted(Fits(left, weights_of(left, found), found, NOBODY))
    assert beside.aside.tolist() == wild.sum(axis=1).tolist()
    for table in range(wild.shape[0]):
        alone = of.some(np.array([table])).only(~wild[table, of.design.unit])
        by = spread(alone, nothing_of_their_own(alone))
        assert by is not None
        one = contrasted(Fits(alone, weights_of(alone, by), by, np.flatnonzero(wild[table])))
        np.testing.assert_allclose(beside.table[table], one.table[0], rtol=1e-7, atol=1e-9)


def test_where_groups_leave_nothing_of_a_table_none_is_fitted_together() -> None:
    """Each group reads one unit, so that what units differ by is what groups differ by."""
    units = np.arange(8)
    of = tables(0, units=8)
    of = Tables(
        design_of((units > 1).astype(np.intp), units, units, np.arange(2)),
        **{name: getattr(of, name)[:, :8] for name in ("mean", "runs", "systematic")},
        **{name: getattr(of, name) for name in ("random", "squares", "freedom")},
    )
    assert thinned(of, lost(of, 1)) is None


def test_designs_of_shared_units_are_fitted_one_by_one() -> None:
    assert can_thin(design_of(np.array([0, 1, 1]), np.array([0, 1, 2]), np.zeros(3, int)))
    assert not can_thin(design_of(np.array([0, 1, 1]), np.array([0, 0, 1]), np.zeros(3, int)))
    assert not can_thin(design_of(np.arange(3), np.arange(3), np.zeros(3, int)))


def test_fits_are_the_same_whether_tables_lose_units_together_or_not() -> None:
    of = tables(3, units=30, groups=3, size=8)
    mean = of.mean.copy()
    mean[2, of.design.unit == 20] += 90.0
    mean[5, of.design.unit == 25] -= 90.0
    of = Tables(**{**vars(of), "mean": mean})
    places = np.arange(8)
    ((_, together),) = fits([(places, of)], thin=True)
    assert {2, 5} <= set(np.flatnonzero(together.aside).tolist())
    for at, apart in fits([(places, of)]):
        got, expected = contrasted(together).table[at], contrasted(apart).table
        np.testing.assert_allclose(got, expected, rtol=1e-7, atol=1e-9)
