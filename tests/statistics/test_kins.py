"""How sums of squares part by kin, against the matrix of readings times readings written out."""

import numpy as np
import pytest

from registry.statistics.designs import Design, one_hot, span

SEEDS = range(40)


def design(seed: int) -> Design:
    """Units in one cell or several, read by a few groups; in every fourth design cells share a build."""
    rng = np.random.default_rng(seed)
    rows, cells = int(rng.integers(8, 40)), int(rng.integers(2, 4))
    cell = np.concatenate([np.arange(cells), rng.integers(0, cells, rows - cells)])
    unit = rng.integers(0, rows // 2, rows)
    if seed % 2:
        unit = unit * cells + cell
    unit, group = (np.unique(of, return_inverse=True)[1] for of in (unit, rng.integers(0, 4, rows)))
    return Design(cell, unit, group, np.minimum(np.arange(cells), 1) if seed % 4 == 0 else None)


def maker_of(of: Design) -> np.ndarray:
    """What leaves of readings what neither groups nor cells account for."""
    basis = span(np.column_stack([one_hot(of.group), one_hot(of.cell)]))
    return np.eye(of.cell.size) - basis @ basis.T


@pytest.mark.parametrize("seed", SEEDS)
def test_kins_hold_what_the_matrix_of_readings_says(seed: int) -> None:
    of = design(seed)
    maker, kins = maker_of(of), of.kins
    held, freedom = kins.told
    through, row = maker @ one_hot(of.unit), of.kin[of.unit]
    if freedom.min() < 1 - 1e-9:
        mine = [through[row == one] for one in range(kins.count)]
        worth = [float((part**2).sum()) ** 2 / float(((part @ part.T) ** 2).sum() or 1.0) for part in mine]
        assert min(worth) < 1 - 1e-9 or min(float((part**2).sum()) for part in mine) < 1e-9
        return
    for one in range(kins.count):
        mine = through[row == one]
        by_kin = [float((mine[:, of.kin == other] ** 2).sum()) for other in range(kins.count)]
        assert held[one] == pytest.approx(by_kin, abs=1e-10)
        assert freedom[one] == pytest.approx(sum(by_kin) ** 2 / float(((mine @ mine.T) ** 2).sum()), rel=1e-8)
        assert kins.of_noise[:, one] == pytest.approx((maker[row == one] ** 2).sum(axis=0), abs=1e-10)
        own = (maker[row == one] @ one_hot(of.pair)) ** 2
        assert kins.of_own[one] == pytest.approx(float(own.sum()), abs=1e-10)
        assert (kins.of_kin[:, one] == (row == one)).all()


def test_most_designs_have_kins_that_tell_of_themselves() -> None:
    telling = [seed for seed in SEEDS if design(seed).kins.told[1].min() >= 1]
    assert len(telling) > len(SEEDS) // 3
    assert any(design(seed).kins.count > 1 for seed in telling)


@pytest.mark.parametrize("seed", SEEDS)
def test_what_units_hold_and_are_worth_is_what_the_matrix_says(seed: int) -> None:
    of = design(seed)
    kernel = one_hot(of.unit).T @ maker_of(of) @ one_hot(of.unit)
    own = one_hot(of.pair).T @ maker_of(of) @ one_hot(of.pair)
    assert of.within_groups == pytest.approx((np.trace(kernel), np.trace(own)), abs=1e-9)
    if np.trace(kernel) > 1e-9:
        worth = np.trace(kernel) ** 2 / float((kernel**2).sum())
        assert of.freedom_of_units == pytest.approx(worth, rel=1e-8)


def test_a_unit_read_once_in_a_cell_of_its_own_tells_nothing_of_units() -> None:
    of = Design(np.array([0, 1, 1, 1]), np.arange(4), np.zeros(4, int))
    assert of.kins.told[1].min() == 0
