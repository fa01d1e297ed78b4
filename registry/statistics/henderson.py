"""How much units and groups scatter, from sums of squares within groups and cells, and within cells.

Henderson's third method (C. R. Henderson, Biometrics 9, 1953): sums of squares are set equal to their
expectations, whatever the unbalance, units read once or in several cells and groups.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from registry.statistics.crossed import CERTAIN, Readings, one_hot
from registry.statistics.mixed import Codes
from registry.statistics.robust import Floats

_TINY = 1e-9
_HAIR = 1e-300
# Beyond so many units what one of them weighs more than another no longer matters to what is known.
_MOST_UNITS = 500
_UNLIKE = 0.05
_SINGULAR = 1e9


@dataclass(frozen=True)
class Own:
    """What units change by from cell to cell beyond what cells do: a variance, and how well it is known."""

    variance: float
    freedom: float


NOTHING_OF_THEIR_OWN = Own(0.0, CERTAIN)


@dataclass(frozen=True)
class Spread:
    """How much units and groups scatter.

    Units that are read in the same cells are of one kin, whose code `kin` gives for each unit; all are of one
    unless kins clearly differ. `unit` holds a variance a kin and `unit_freedom` to how many degrees of
    freedom each is known; `group` one variance a group.
    """

    kin: Codes
    unit: Floats
    unit_freedom: Floats
    own: Own
    group: Floats
    group_freedom: float

    @property
    def unlike(self) -> bool:
        """Whether units clearly scatter more in some cells than in others."""
        return self.unit.size > 1


@dataclass(frozen=True)
class _Sum:
    """A sum of squares, what noise puts into it, and how much of each variance it holds."""

    squares: float
    noise: float
    unit: float
    own: float
    freedom: float

    def left(self, own: Own) -> float:
        """What neither noise nor what units have of their own in cells accounts for."""
        return self.squares - self.noise - own.variance * self.own


def own_spread(of: Readings) -> Own | None:
    """How much a unit changes from cell to cell beyond what all units do; None where nothing tells it.

    From the sum of squares within units, cells and groups. Where every unit is read once in either of two
    cells this is the paired t test's.
    """
    again = (np.bincount(of.unit) > 1)[of.unit]
    if not again.all():
        of = of.only(again)
    cells = one_hot(of.cell)
    found, _ = _residual(of, of.unit, np.column_stack([one_hot(of.group), cells]))
    between = _basis(_less_means(cells, of.unit)).shape[1]
    freedom = min(found.freedom, int(of.pair.max()) - int(of.unit.max()) - between)
    if freedom < 1 or found.own <= _TINY:
        return None
    return Own(max((found.squares - found.noise) / found.own, 0.0), float(freedom))


def spread(of: Readings, own: Own = NOTHING_OF_THEIR_OWN) -> Spread | None:
    """Variances between units and between groups; None where nothing tells how much units scatter."""
    within, rank = _residual(of, of.group, one_hot(of.cell))
    overall = _within_cells(of)
    one = np.zeros(int(of.unit.max()) + 1, np.intp)
    if within.freedom > 0 and within.unit > _TINY:
        unit = np.array([max(within.left(own) / within.unit, 0.0)])
        known = max(min(_freedom_of_units(of, int(within.freedom)), float(_units_free(of))), 1.0)
        kin, unit, freedom = _by_kin(of, own) or (one, unit, np.array([known]))
        group, group_freedom = _of_groups(of, overall, rank, own, unit[kin])
        return Spread(kin, unit, freedom, own, group, group_freedom)
    if overall.freedom <= 0 or overall.unit <= _TINY:
        return None
    # Each group has one unit a cell at most: what is not the gauges' by their own word is the units'.
    leaning = of.leaning
    gauges = float(np.sum(leaning * _held(of)))
    unit = np.array([max((overall.left(own) - gauges) / overall.unit, 0.0)])
    return Spread(one, unit, np.array([overall.freedom]), own, leaning, CERTAIN)


def kin_of(of: Readings) -> Codes:
    """The kin of each unit: units are of one where a chain of units read in the same cells links them."""
    label = np.arange(int(of.cell.max()) + 1)
    while True:
        least = np.full(int(of.unit.max()) + 1, label.size)
        np.minimum.at(least, of.unit, label[of.cell])
        joined = label.copy()
        np.minimum.at(joined, of.cell, least[of.unit])
        if (joined == label).all():
            return np.unique(least, return_inverse=True)[1]
        label = joined


def _of_groups(of: Readings, overall: _Sum, rank: int, own: Own, unit: Floats) -> tuple[Floats, float]:
    """A variance a group, no less than its gauge declares, and its degrees of freedom."""
    groups, cells = int(of.group.max()) + 1, int(of.cell.max()) + 1
    leaning, held = of.leaning, of.mean.size - _overlap(of.group, of.cell)
    told = groups + rank - cells if held > _TINY else 0
    left = overall.left(own) - float(np.sum(unit * _held_by_units(of)))
    estimated = max(left / held, 0.0) if told > 0 else 0.0
    group = np.maximum(leaning, estimated)
    # Up to what gauges declare it counts as known; only what is seen beyond that has to be estimated.
    seen = max(estimated - float(leaning.mean()), 0.0) / max(float(group.mean()), _HAIR)
    return group, told / seen**2 if seen > 0 else CERTAIN


def _by_kin(of: Readings, own: Own) -> tuple[Codes, Floats, Floats] | None:
    """The kin of each unit, and a variance a kin with its degrees of freedom, where they clearly differ.

    None where kins may scatter alike, or where one of them cannot tell. Sums of squares of each kin's rows
    within groups and cells are set equal to their expectations; before, each is held against that of all
    others by a two-sided F test at 5 %, adjusted for their number.
    """
    kin = kin_of(of)
    kins = int(kin.max()) + 1
    if kins < 2 or int(of.unit.max()) >= _MOST_UNITS:
        return None
    squares, known, held, freedom = _sums_by_kin(of, kin, own)
    # Where kins can only be told by their differences from each other, both sums are one and the same.
    if freedom.min() < 1 or np.linalg.cond(held) > _SINGULAR:
        return None
    alike = held.sum(axis=1)
    others, beside = squares.sum() - squares, freedom.sum() - freedom
    ratio = (squares / alike) / np.maximum(others / (alike.sum() - alike), _HAIR)
    tail = np.minimum(special.fdtrc(freedom, beside, ratio), special.fdtr(freedom, beside, ratio))
    if 2 * tail.min() * (kins if kins > 2 else 1) > _UNLIKE:
        return None
    return kin, np.maximum(np.linalg.solve(held, squares - known), 0.0), freedom


def _sums_by_kin(of: Readings, kin: Codes, own: Own) -> tuple[Floats, Floats, Floats, Floats]:
    """Each kin's sum of squares, its noise, how much of each kin's variance it holds, and its freedom."""
    maker = _less_means(np.eye(of.mean.size), of.group)
    basis = _basis(_less_means(one_hot(of.cell), of.group))
    maker -= basis @ basis.T
    row = kin[of.unit]
    kins = int(kin.max()) + 1
    noise = maker**2 @ of.noise
    if own.variance > 0:
        noise += own.variance * np.sum((maker @ one_hot(of.pair)) ** 2, axis=1)
    through = maker @ one_hot(of.unit)
    held = np.zeros((kins, kins))
    freedom = np.zeros(kins)
    for one in range(kins):
        mine = through[row == one]
        held[one] = np.bincount(kin, np.sum(mine**2, axis=0), kins)
        kernel = float(np.sum((mine @ mine.T) ** 2))
        freedom[one] = held[one].sum() ** 2 / kernel if kernel > 0 else 0.0
    squares, known = np.zeros(kins), np.zeros(kins)
    np.add.at(squares, row, (maker @ of.mean) ** 2)
    np.add.at(known, row, noise)
    return squares, known, held, freedom


def _residual(of: Readings, absorbed: Codes, columns: Floats) -> tuple[_Sum, int]:
    """The sum of squares that `absorbed` and the columns leave, and the rank of the columns beside it."""
    size = np.bincount(absorbed).astype(float)
    basis = _basis(_less_means(columns, absorbed))
    apart = _less_means(of.mean[:, None], absorbed)[:, 0]
    apart = apart - basis @ (basis.T @ apart)
    share = 1 - 1 / size[absorbed] - np.sum(basis**2, axis=1)
    held = []
    for codes in (of.unit, of.pair):
        along = np.zeros((int(codes.max()) + 1, basis.shape[1]))
        np.add.at(along, codes, basis)
        held.append(of.mean.size - _overlap(codes, absorbed) - float(np.sum(along**2)))
    rank = basis.shape[1]
    freedom = float(of.mean.size - size.size - rank)
    return _Sum(float(apart @ apart), float(of.noise @ share), held[0], held[1], freedom), rank


def _freedom_of_units(of: Readings, rows: int) -> float:
    """Degrees of freedom of the sum of squares within groups as a word on units, where some have many rows.

    By Satterthwaite, tr(K)^2 / tr(K^2) with K = Z'MZ of the units' columns Z and the residual maker M.
    """
    units = int(of.unit.max()) + 1
    if units == of.unit.size or units > _MOST_UNITS:
        return float(rows)
    left = _less_means(one_hot(of.unit), of.group)
    basis = _basis(_less_means(one_hot(of.cell), of.group))
    left = left - basis @ (basis.T @ left)
    kernel = left.T @ left
    total = float(np.sum(kernel**2))
    return min(float(np.trace(kernel)) ** 2 / total, float(rows)) if total > 0 else float(rows)


def _units_free(of: Readings) -> int:
    """Units beyond those that the differences between cells use up, however often each was read."""
    cells = one_hot(of.cell)
    shared = _basis(_less_means(cells, of.unit)).shape[1]
    return int(of.unit.max()) + 1 - int(cells.shape[1]) + int(shared)


def _within_cells(of: Readings) -> _Sum:
    """The sum of squares about the cells' own means."""
    size = np.bincount(of.cell).astype(float)
    apart = of.mean - (np.bincount(of.cell, of.mean) / size)[of.cell]
    noise = float(of.noise @ (1 - 1 / size[of.cell]))
    rows = of.mean.size
    unit, own = (rows - _overlap(codes, of.cell) for codes in (of.unit, of.pair))
    return _Sum(float(apart @ apart), noise, unit, own, float(rows - size.size))


def _held_by_units(of: Readings) -> Floats:
    """How much of each unit's variance the sum of squares within cells holds."""
    size = np.bincount(of.cell).astype(float)
    pairs, counts = np.unique(of.unit * size.size + of.cell, return_counts=True)
    unit, cell = np.divmod(pairs, size.size)
    return np.asarray(np.bincount(unit, counts - counts.astype(float) ** 2 / size[cell]), float)


def _held(of: Readings) -> Floats:
    """How much of each group's variance the sum of squares within cells holds."""
    size = np.bincount(of.cell).astype(float)
    counts = np.zeros((int(of.group.max()) + 1, size.size))
    np.add.at(counts, (of.group, of.cell), 1.0)
    held: Floats = counts.sum(axis=1) - (counts**2 / size).sum(axis=1)
    return held


def _overlap(codes: Codes, within: Codes) -> float:
    """Sum over pairs of codes of the squared number of rows they share, over the size of the second."""
    size: Floats = np.bincount(within).astype(float)
    pairs, counts = np.unique(codes * size.size + within, return_counts=True)
    return float(np.sum(counts.astype(float) ** 2 / size[pairs % size.size]))


def _less_means(columns: Floats, codes: Codes) -> Floats:
    """The columns less their mean over the rows of each code."""
    size = np.bincount(codes).astype(float)
    total = np.zeros((size.size, columns.shape[1]))
    np.add.at(total, codes, columns)
    apart: Floats = columns - (total / size[:, None])[codes]
    return apart


def _basis(columns: Floats) -> Floats:
    """Orthonormal columns that span the same; none where the columns are nought."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, sizes > _TINY * max(float(np.abs(columns).max()), 1.0) * columns.shape[0]]
    return basis
