"""Weights of cells' means of many tables at once, against the covariance written out."""

import numpy as np
import pytest

from registry.statistics.covers import weights_of
from registry.statistics.crossed import Readings
from registry.statistics.differences import fit, fit_all
from registry.statistics.henderson import Spread
from registry.statistics.tables import abreast


def tables(seed: int, count: int = 3, *, shared: bool = True) -> list[Readings]:
    """Readings of one design: units in one cell or both, read by one group or two."""
    rng = np.random.default_rng(seed)
    rows = [(cell, unit, group) for cell in (0, 1) for unit in range(12) for group in range(3)]
    kept = [row for row in rows if row[2] == row[1] % 3 or rng.random() < 0.2]
    kept = [row for row in kept if (shared and row[1] < 4) or row[1] % 2 == row[0]]
    cell, unit, group = (np.array(column) for column in zip(*kept, strict=True))
    unit = np.unique(unit, return_inverse=True)[1]
    size, units = len(kept), int(unit.max()) + 1
    return [
        Readings(
            cell, unit, group,
            mean=100 + 5 * cell + rng.normal(0, 4, units)[unit] + rng.normal(group, 1, size),
            runs=rng.integers(1, 5, size).astype(float), systematic=rng.uniform(0.5, 2, size),
            random=0.7, squares=9.0, freedom=12, build=np.array([0, 1]),
        )
        for _ in range(count)
    ]  # fmt: skip


@pytest.mark.parametrize("own", [0.0, 3.0])
@pytest.mark.parametrize("shared", [True, False])
def test_the_weights_are_those_of_generalised_least_squares(own: float, *, shared: bool) -> None:
    ((_, of),) = abreast(tables(1, shared=shared))
    design, rng = of.design, np.random.default_rng(2)
    spread = Spread(
        kin=np.zeros((3, design.units), np.intp),
        unit=rng.uniform(4, 20, (3, 1)),
        unit_freedom=np.full((3, 1), 9.0),
        own=np.full(3, own),
        own_freedom=4.0,
        group=rng.uniform(0.5, 4, (3, design.groups)),
        group_freedom=np.full(3, 5.0),
        unlike=np.zeros(3, bool),
    )
    found = weights_of(of, spread)
    for place in range(3):
        covariance = np.diag(of.noise[place])
        covariance += spread.unit[place, 0] * (design.unit[:, None] == design.unit)
        covariance += own * (design.pair[:, None] == design.pair)
        covariance += (design.group[:, None] == design.group) * spread.group[place][design.group]
        cells = np.eye(2)[design.cell]
        solved = np.linalg.solve(covariance, cells)
        assert found[place] == pytest.approx(np.linalg.solve(cells.T @ solved, solved.T), rel=1e-9, abs=1e-12)


def test_next_to_no_noise_leaves_units_their_weight() -> None:
    """Twelve units alike but for their own deviation count alike, however little their runs scatter."""
    size = 12
    rows = Readings(
        np.arange(size) % 2, np.arange(size), np.zeros(size, np.intp), mean=np.arange(size) * 1.0,
        runs=np.ones(size), systematic=np.zeros(size), random=0.0, squares=0.0, freedom=0,
    )  # fmt: skip
    found = fit(rows)
    assert found is not None
    assert found.weights[0] == pytest.approx(np.tile([1 / 6, 0.0], 6), rel=1e-9, abs=1e-12)


@pytest.mark.parametrize("shared", [True, False])
def test_fits_side_by_side_are_those_of_each_alone(*, shared: bool) -> None:
    several = [*tables(3, 5, shared=shared), *tables(4, 4, shared=shared)]
    together = fit_all(several)
    for one, readings in zip(together, several, strict=True):
        alone = fit(readings)
        assert one is not None
        assert alone is not None
        assert one.wild == alone.wild
        ours, theirs = (vars(of.estimate([-1, 1])).values() for of in (one, alone))
        assert list(ours) == pytest.approx(list(theirs), rel=1e-10)
