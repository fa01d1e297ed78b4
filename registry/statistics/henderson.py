"""How much units and groups scatter, from sums of squares within groups and cells, and within cells.

Henderson's third method (C. R. Henderson, Biometrics 9, 1953): sums of squares are set equal to their
expectations, whatever the unbalance, units read once or in several cells and groups.
"""

from dataclasses import dataclass

import numpy as np

from registry.statistics.crossed import CERTAIN, Readings, one_hot
from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats

_TINY = 1e-9
_HAIR = 1e-300
# Beyond so many units what one of them weighs more than another no longer matters to what is known.
_MOST_UNITS = 500


@dataclass(frozen=True)
class _Sum:
    """A sum of squares, what noise puts into it, and how much of each variance it holds."""

    squares: float
    noise: float
    unit: float
    group: float
    freedom: int


def spread(of: Readings) -> tuple[float, Floats, float, float] | None:
    """Unit variance, group variances, and the degrees of freedom of each."""
    within, rank = _within_groups(of)
    overall = _within_cells(of)
    groups, cells = int(of.group.max()) + 1, int(of.cell.max()) + 1
    leaning = of.leaning
    if within.freedom > 0 and within.unit > _TINY:
        unit = max((within.squares - within.noise) / within.unit, 0.0)
        told = groups + rank - cells if overall.group > _TINY else 0
        left = overall.squares - overall.noise - unit * overall.unit
        estimated = max(left / overall.group, 0.0) if told > 0 else 0.0
        group = np.maximum(leaning, estimated)
        # Up to what gauges declare it counts as known; only what is seen beyond that has to be estimated.
        seen = max(estimated - float(leaning.mean()), 0.0) / max(float(group.mean()), _HAIR)
        known = max(min(_freedom_of_units(of, within.freedom), float(_units_free(of))), 1.0)
        return unit, group, known, told / seen**2 if seen > 0 else CERTAIN
    if overall.freedom <= 0 or overall.unit <= _TINY:
        return None
    # Each group has one unit a cell at most: what is not the gauges' by their own word is the units'.
    gauges = float(np.sum(leaning * _held(of)))
    unit = max((overall.squares - overall.noise - gauges) / overall.unit, 0.0)
    return unit, leaning, float(overall.freedom), CERTAIN


def _within_groups(of: Readings) -> tuple[_Sum, int]:
    """The sum of squares left by groups and cells, and the rank of the cells beside the groups."""
    size = np.bincount(of.group).astype(float)
    basis = _basis(_less_group_means(one_hot(of.cell), of.group, size))
    apart = _less_group_means(of.mean[:, None], of.group, size)[:, 0]
    apart = apart - basis @ (basis.T @ apart)
    share = 1 - 1 / size[of.group] - np.sum(basis**2, axis=1)
    along = np.zeros((int(of.unit.max()) + 1, basis.shape[1]))
    np.add.at(along, of.unit, basis)
    unit = of.mean.size - _overlap(of.unit, of.group, size) - float(np.sum(along**2))
    rank = basis.shape[1]
    freedom = of.mean.size - size.size - rank
    return _Sum(float(apart @ apart), float(of.noise @ share), unit, 0.0, freedom), rank


def _freedom_of_units(of: Readings, rows: int) -> float:
    """Degrees of freedom of the sum of squares within groups as a word on units, where some have many rows.

    By Satterthwaite, tr(K)^2 / tr(K^2) with K = Z'MZ of the units' columns Z and the residual maker M.
    """
    units = int(of.unit.max()) + 1
    if units == of.unit.size or units > _MOST_UNITS:
        return float(rows)
    size = np.bincount(of.group).astype(float)
    left = _less_group_means(one_hot(of.unit), of.group, size)
    basis = _basis(_less_group_means(one_hot(of.cell), of.group, size))
    left = left - basis @ (basis.T @ left)
    kernel = left.T @ left
    total = float(np.sum(kernel**2))
    return min(float(np.trace(kernel)) ** 2 / total, float(rows)) if total > 0 else float(rows)


def _units_free(of: Readings) -> int:
    """Units beyond those that the differences between cells use up, however often each was read."""
    units = np.bincount(of.unit).astype(float)
    cells = one_hot(of.cell)
    shared = _basis(_less_group_means(cells, of.unit, units)).shape[1]
    return int(units.size - cells.shape[1] + shared)


def _within_cells(of: Readings) -> _Sum:
    """The sum of squares about the cells' own means."""
    size = np.bincount(of.cell).astype(float)
    apart = of.mean - (np.bincount(of.cell, of.mean) / size)[of.cell]
    noise = float(of.noise @ (1 - 1 / size[of.cell]))
    rows = of.mean.size
    unit, group = (rows - _overlap(codes, of.cell, size) for codes in (of.unit, of.group))
    return _Sum(float(apart @ apart), noise, unit, group, rows - size.size)


def _held(of: Readings) -> Floats:
    """How much of each group's variance the sum of squares within cells holds."""
    size = np.bincount(of.cell).astype(float)
    counts = np.zeros((int(of.group.max()) + 1, size.size))
    np.add.at(counts, (of.group, of.cell), 1.0)
    held: Floats = counts.sum(axis=1) - (counts**2 / size).sum(axis=1)
    return held


def _overlap(codes: Codes, within: Codes, size: Floats) -> float:
    """Sum over pairs of codes of the squared number of rows they share, over the size of the second."""
    pairs, counts = np.unique(codes * size.size + within, return_counts=True)
    return float(np.sum(counts.astype(float) ** 2 / size[pairs % size.size]))


def _less_group_means(columns: Floats, group: Codes, size: Floats) -> Floats:
    total = np.zeros((size.size, columns.shape[1]))
    np.add.at(total, group, columns)
    apart: Floats = columns - (total / size[:, None])[group]
    return apart


def _basis(columns: Floats) -> Floats:
    """Orthonormal columns that span the same; none where the columns are nought."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, sizes > _TINY * max(float(np.abs(columns).max()), 1.0) * columns.shape[0]]
    return basis
