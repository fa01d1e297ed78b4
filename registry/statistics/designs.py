"""What the codes of a table alone decide about its sums of squares, worked out once a design.

The values of one comparison, setting by setting and metric by metric, mostly come from the same units by the
same gauges. What follows from who read what is then the same for all of them, and costs far more than what
follows from the readings; so it is kept by the codes themselves for the few designs that were used last.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats
from registry.statistics.stacks import Sums, sums

Codes = NDArray[np.intp]
_TINY = 1e-9
_DESIGNS = 64


@dataclass(frozen=True)
class Kins:
    """How sums of squares within groups and cells part by kin.

    `held` is how much of each kin's variance (column) each kin's sum of squares (row) holds, `freedom` the
    degrees of freedom each is worth. `of_kin` has a column a kin that marks its rows, `of_noise` one of how
    much of each row's noise its sum holds; `of_own` is how much each holds of what units have of their own.
    """

    held: Floats
    freedom: Floats
    of_kin: Floats
    of_noise: Floats
    of_own: Floats


class Design:
    """Who read what: codes from 0 up of the cell, unit and group of each row. Never changed once made.

    `build` is a code a cell; without it every cell is a build of its own.
    """

    def __init__(self, cell: Codes, unit: Codes, group: Codes, build: Codes | None = None) -> None:
        self.cell, self.unit, self.group = cell, unit, group
        self.build = np.arange(int(cell.max()) + 1) if build is None else build
        self.cells, self.units, self.groups = (int(codes.max()) + 1 for codes in (cell, unit, group))

    @cached_property
    def pair(self) -> Codes:
        """Codes of units in cells, from 0 up."""
        return np.asarray(np.unique(self.unit * self.cells + self.cell, return_inverse=True)[1], np.intp)

    @cached_property
    def by_cell_sums(self) -> Sums:
        """Sums over the rows of each cell."""
        return sums(self.cell)

    @cached_property
    def by_unit_sums(self) -> Sums:
        """Sums over the rows of each unit."""
        return sums(self.unit)

    @cached_property
    def by_group_sums(self) -> Sums:
        """Sums over the rows of each group."""
        return sums(self.group)

    @cached_property
    def by_pair_sums(self) -> Sums:
        """Sums over the rows of each unit in a cell."""
        return sums(self.pair)

    @property
    def pairs(self) -> int:
        """Units in cells."""
        return int(self.cell_of_pair.size)

    @cached_property
    def unit_of_pair(self) -> Codes:
        """The unit of each unit in a cell."""
        return self.unit[self.by_pair_sums.order[self.by_pair_sums.first]]

    @cached_property
    def cell_of_pair(self) -> Codes:
        """The cell of each unit in a cell."""
        return self.cell[self.by_pair_sums.order[self.by_pair_sums.first]]

    @cached_property
    def by_units_of_pairs(self) -> Sums:
        """Sums over the cells of each unit, of values a unit in a cell."""
        return sums(self.unit_of_pair)

    @cached_property
    def one_hot_cells(self) -> Floats:
        """A column a cell that marks its rows."""
        return one_hot(self.cell)

    @cached_property
    def pairs_at_groups(self) -> tuple[Codes, Codes, Sums]:
        """Unit in a cell and group of each meeting of the two, and sums over the rows of each."""
        return _meeting(self.pair, self.group)

    @cached_property
    def kin(self) -> Codes:
        """The kin of each unit: of one are units that a chain of units read in the same builds links."""
        label = self.build.copy()
        build = self.build[self.cell]
        while True:
            least = np.full(self.units, label.size)
            np.minimum.at(least, self.unit, label[self.cell])
            first = np.full(int(self.build.max()) + 1, label.size)
            np.minimum.at(first, build, least[self.unit])
            joined = np.minimum(label, first[self.build])
            if (joined == label).all():
                return np.unique(least, return_inverse=True)[1]
            label = joined

    @cached_property
    def basis(self) -> Floats:
        """Orthonormal columns for the cells beside the groups."""
        return span(less_means(one_hot(self.cell), self.group))

    @cached_property
    def share(self) -> Floats:
        """How much of each row's own variance what groups and cells leave of it holds."""
        size = np.bincount(self.group).astype(float)
        return np.asarray(1 - 1 / size[self.group] - np.sum(self.basis**2, axis=1), float)

    @cached_property
    def within_groups(self) -> tuple[float, float]:
        """How much of a unit's, and of a unit's own variance in a cell, groups and cells leave."""
        unit, pair = (held_beside(codes, self.group, self.basis) for codes in (self.unit, self.pair))
        return unit, pair

    @cached_property
    def within_cells(self) -> tuple[float, float, float]:
        """How much cells alone leave: of units', of units' own in cells, of groups' variance."""
        rows = self.cell.size
        unit, pair, group = (rows - overlap(codes, self.cell) for codes in (self.unit, self.pair, self.group))
        return unit, pair, group

    @cached_property
    def by_unit(self) -> Floats:
        """How much of each unit's variance the sum of squares within cells holds."""
        return self._held(self.unit)

    @cached_property
    def by_group(self) -> Floats:
        """How much of each group's variance the sum of squares within cells holds."""
        return self._held(self.group)

    def _held(self, codes: Codes) -> Floats:
        size = np.bincount(self.cell).astype(float)
        pairs, counts = np.unique(codes * self.cells + self.cell, return_counts=True)
        code, cell = np.divmod(pairs, self.cells)
        return np.asarray(np.bincount(code, counts - counts.astype(float) ** 2 / size[cell]), float)

    @cached_property
    def across(self) -> Floats:
        """Orthonormal rows, a column a reading, that span groups and cells.

        What these leave of readings is all that sums of squares within groups and cells are made of. Far
        fewer than readings, they stand for the matrix of readings times readings that leaves it.
        """
        groups = one_hot(self.group) / np.sqrt(self.by_group_sums.size)
        return np.ascontiguousarray(np.column_stack([groups, self.basis]).T)

    @cached_property
    def freedom_of_units(self) -> float:
        """What the sum of squares within groups is worth as a word on units, where some have many rows.

        By Satterthwaite, tr(K)^2 / tr(K^2) with K = Z'MZ of the units' columns Z and the residual maker M,
        which is 1 less `across` squared; infinite where it says nothing.
        """
        rows, along = self.by_unit_sums.size, self.by_unit_sums(self.across)
        taken = np.sum(along**2, axis=0)
        total = float(np.sum(rows**2) - 2 * rows @ taken + np.sum((along @ along.T) ** 2))
        return float(np.sum(rows) - np.sum(taken)) ** 2 / total if total > _TINY else float("inf")

    @cached_property
    def units_free(self) -> int:
        """Units beyond those that the differences between cells use up, however often each was read."""
        shared = span(less_means(one_hot(self.cell), self.unit)).shape[1]
        return self.units - self.cells + int(shared)

    @cached_property
    def kins(self) -> Kins:
        """How sums of squares part by kin."""
        kins, of_kin = int(self.kin.max()) + 1, self.kin[self.unit]
        held, freedom, of_own = np.zeros((kins, kins)), np.zeros(kins), np.zeros(kins)
        of_noise = np.zeros((self.unit.size, kins))
        units = self.by_unit_sums.size, self.by_unit_sums(self.across)
        pairs = self.by_pair_sums.size, self.by_pair_sums(self.across)
        for one in range(kins):
            mine = self.across[:, of_kin == one]
            within = mine @ mine.T
            left = _left(*units, within, self.kin == one)
            held[one] = np.bincount(self.kin, left, kins)
            square = _square(*units, within, self.kin == one)
            freedom[one] = held[one].sum() ** 2 / square if square > _TINY**2 else 0.0
            of_own[one] = _left(*pairs, within, self.kin[self.unit_of_pair] == one).sum()
            of_noise[:, one] = _left(np.ones(self.unit.size), self.across, within, of_kin == one)
        return Kins(held, freedom, one_hot(of_kin), of_noise, of_own)


# Let M be 1 less `across` squared, and K the rows of M of one kin times columns of codes, each marking its
# rows. With A what `across` makes of the columns and W what it makes of the kin's rows, K'K is
# D - J A'A - A'A J + A'WA, where J marks the codes of the kin and D counts their rows: nothing of the size of
# rows times rows is made.
def _left(rows: Floats, along: Floats, within: Floats, inside: NDArray[np.bool_]) -> Floats:
    """The diagonal of K'K: how much of each code's variance the sum of squares of a kin's rows holds.

    `rows` counts those of each code, `along` is A and `within` W; `inside` marks the codes of the kin.
    """
    through: Floats = np.sum(along * (within @ along), axis=0)
    left: Floats = through + inside * (rows - 2 * np.sum(along**2, axis=0))
    return left


def _square(rows: Floats, along: Floats, within: Floats, inside: NDArray[np.bool_]) -> float:
    """The sum of squares of all of K'K."""
    own, size = inside * rows, along.shape[0]
    both = np.concatenate([along, along * inside])
    core = np.zeros((2 * size, 2 * size))
    core[:size, :size] = within
    core[:size, size:] = core[size:, :size] = -np.eye(size)
    turned = core @ (both @ both.T)
    return float(own @ (2 * _left(rows, along, within, inside) - own) + np.sum(turned * turned.T))


def design_of(cell: Codes, unit: Codes, group: Codes, build: Codes | None = None) -> Design:
    """The design of these codes, with all that was worked out of it before."""
    given = (cell, unit, group) if build is None else (cell, unit, group, build)
    return _design(*(np.asarray(codes, np.intp).tobytes() for codes in given))


@lru_cache(_DESIGNS)
def _design(*codes: bytes) -> Design:
    return Design(*(np.frombuffer(code, np.intp) for code in codes))


def _meeting(codes: Codes, others: Codes) -> tuple[Codes, Codes, Sums]:
    """The codes that meet in a row, and sums over the rows of each meeting."""
    size = int(others.max()) + 1
    met, code = np.unique(codes * size + others, return_inverse=True)
    return met // size, met % size, sums(code)


def one_hot(codes: Codes) -> Floats:
    """A column a code, a row each, with one 1 in every row."""
    columns = np.zeros((codes.size, int(codes.max()) + 1))
    columns[np.arange(codes.size), codes] = 1.0
    return columns


def held_beside(codes: Codes, absorbed: Codes, basis: Floats) -> float:
    """How much of the codes' variance is left by `absorbed` and the orthonormal columns beside it."""
    return codes.size - overlap(codes, absorbed) - float(np.sum(_totals(basis, codes) ** 2))


def overlap(codes: Codes, within: Codes) -> float:
    """Sum over pairs of codes of the squared number of rows they share, over the size of the second."""
    size: Floats = np.bincount(within).astype(float)
    pairs, counts = np.unique(codes * size.size + within, return_counts=True)
    return float(np.sum(counts.astype(float) ** 2 / size[pairs % size.size]))


def less_means(columns: Floats, codes: Codes) -> Floats:
    """The columns less their mean over the rows of each code."""
    size = np.bincount(codes).astype(float)
    apart: Floats = columns - (_totals(columns, codes) / size[:, None])[codes]
    return apart


def _totals(columns: Floats, codes: Codes) -> Floats:
    """The sums of columns over the rows of each code."""
    totals = [np.bincount(codes, column) for column in columns.T]
    return np.column_stack(totals) if totals else np.zeros((int(codes.max()) + 1, 0))


def span(columns: Floats) -> Floats:
    """Orthonormal columns that span the same; none where the columns are nought."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, sizes > _TINY * max(float(np.abs(columns).max()), 1.0) * columns.shape[0]]
    return basis
