"""What the codes of a table alone decide about its sums of squares, worked out once a design.

The values of one comparison, setting by setting and metric by metric, mostly come from the same units by the
same gauges. What follows from who read what is then the same for all of them, and costs far more than what
follows from the readings; so it is kept by the codes themselves for the few designs that were used last.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from registry.statistics.entries import Entries
from registry.statistics.kins import TINY, Kins
from registry.statistics.robust import Floats
from registry.statistics.stacks import Sums, sums

Codes = NDArray[np.intp]
_DESIGNS = 64


@dataclass(frozen=True)
class Columns:
    """Columns of cells and groups as a covariance without groups takes them to pieces, by their entries.

    First come units, with an entry a unit in a cell and one a meeting of that with a group; then `rows`,
    those of units with several in a cell, by the groups their unit meets there: an entry is `own` less what
    the `meeting` with that group weighs in the mean of the unit in the cell.
    """

    entries: Entries
    rows: Codes
    meeting: Codes
    own: Floats


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

    @property
    def shares_units(self) -> bool:
        """Whether any unit was read in more than one cell."""
        return self.pairs > self.units

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
    def columns(self) -> Columns:
        """Units, and rows beside their unit's mean in a cell, by columns of cells and groups."""
        at_pair, group, _ = self.pairs_at_groups
        rows = np.flatnonzero((self.by_pair_sums.size > 1)[self.pair])
        met = np.bincount(at_pair)
        others = met[self.pair[rows]]
        within = np.arange(int(others.sum())) - np.repeat(np.cumsum(others) - others, others)
        meeting = np.repeat((np.cumsum(met) - met)[self.pair[rows]], others) + within
        own = (group[meeting] == np.repeat(self.group[rows], others)).astype(float)
        units = self.unit_of_pair
        place = np.concatenate([units, units[at_pair], self.units + np.repeat(np.arange(rows.size), others)])
        column = np.concatenate([self.cell_of_pair, self.cells + group, self.cells + group[meeting]])
        return Columns(Entries(place, column, self.cells + self.groups), rows, meeting, own)

    @cached_property
    def kin(self) -> Codes:
        """The kin of each unit: of one are units that a chain of units read in the same builds links."""
        if not self.shares_units:
            return np.unique(self.build[self.cell_of_pair], return_inverse=True)[1]
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
        return span(less_means(self._all_cells_but_one, self.group))

    @property
    def _all_cells_but_one(self) -> Floats:
        """Beside the means of anything, one cell follows from the others."""
        return self.one_hot_cells[:, 1:]

    @cached_property
    def share(self) -> Floats:
        """How much of each row's own variance what groups and cells leave of it holds."""
        size = np.bincount(self.group).astype(float)
        return np.asarray(1 - 1 / size[self.group] - np.sum(self.basis**2, axis=1), float)

    @cached_property
    def within_groups(self) -> tuple[float, float]:
        """How much of a unit's, and of a unit's own variance in a cell, groups and cells leave."""
        _, group, meeting = self.pairs_at_groups
        along = self.by_pair_sums(self.basis.T)
        shared = float(np.sum(meeting.size**2 / self.by_group_sums.size[group]) + np.sum(along**2))
        pair = self.unit.size - shared
        return held_beside(self.unit, self.group, self.basis) if self.shares_units else pair, pair

    @cached_property
    def within_cells(self) -> tuple[float, float, float]:
        """How much cells alone leave: of units', of units' own in cells, of groups' variance."""
        # Of a unit in a cell as much as of the unit, since its rows elsewhere are nothing to the cell's.
        unit, group = (float(held.sum()) for held in (self.by_unit, self.by_group))
        return unit, unit, group

    @cached_property
    def by_unit(self) -> Floats:
        """How much of each unit's variance the sum of squares within cells holds."""
        size = self.by_pair_sums.size
        held = size - size**2 / self.by_cell_sums.size[self.cell_of_pair]
        return np.asarray(np.bincount(self.unit_of_pair, held), float)

    @cached_property
    def by_group(self) -> Floats:
        """How much of each group's variance the sum of squares within cells holds."""
        met = np.bincount(self.group * self.cells + self.cell, minlength=self.groups * self.cells)
        size = met.reshape(self.groups, self.cells).astype(float)
        return np.asarray((size - size**2 / self.by_cell_sums.size).sum(axis=1))

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
        return float(np.sum(rows) - np.sum(taken)) ** 2 / total if total > TINY else float("inf")

    @cached_property
    def units_free(self) -> int:
        """Units beyond those that the differences between cells use up, however often each was read."""
        shared = span(less_means(self._all_cells_but_one, self.unit)).shape[1] if self.shares_units else 0
        return self.units - self.cells + int(shared)

    @cached_property
    def kins(self) -> Kins:
        """How sums of squares part by kin."""
        of_row, of_pair = self.kin[self.unit], self.kin[self.unit_of_pair]
        of_cell = of_row[self.by_cell_sums.order[self.by_cell_sums.first]]
        return Kins(self.across, self.kin, of_row, of_cell, of_pair, self.by_unit_sums, self.by_pair_sums)


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
    if not columns.shape[1]:
        return columns
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, sizes > TINY * max(float(np.abs(columns).max()), 1.0) * columns.shape[0]]
    return basis
