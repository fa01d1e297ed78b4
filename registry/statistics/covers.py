"""Generalised least squares weights of the cells' means of tables side by side (`mixed.Cover` for many).

A row has noise of its own, an effect of its unit in its cell, one of its unit and one of its group. Cells and
groups are columns of ones, so that all sums over rows are sums over who read what: nothing of the size of
rows times groups is made.
"""

from functools import cached_property

import numpy as np

from registry.statistics.henderson import Spread
from registry.statistics.robust import Floats
from registry.statistics.stacks import Sums
from registry.statistics.tables import Tables


def weights_of(of: Tables, by: Spread) -> Floats:
    """What each reading weighs in each cell's mean: tables by cells by readings.

    Rows that a table lacks weigh nothing: of those a unit has all or none. Rows without noise get a hair, as
    the inverse of the covariance needs one. Cost: units times the square of cells and groups.
    """
    cover = _Cover(of, by)
    cells = of.design.cells
    kernel = cover.kernel
    core = kernel[:, cells:, cells:]
    places = np.arange(of.design.groups)
    core[:, places, places] += 1.0 / np.maximum(by.group, cover.hair)
    through = np.linalg.solve(core, kernel[:, cells:, :cells])
    normal = kernel[:, :cells, :cells] - kernel[:, :cells, cells:] @ through
    solved = cover.solve(of.design.one_hot_cells - through.take(of.design.group, axis=1))
    # Cells are few and readings many: the inverse is got faster than as many solutions.
    return np.asarray(np.linalg.inv(normal) @ np.swapaxes(solved, 1, 2), float)


class _Cover:
    """The covariance of the rows but for groups: noise, units, and what units have of their own in cells.

    Its inverse is taken to pieces: what rows lie off the mean of their unit in its cell, what these means lie
    off that of their unit, and the means of units. So nothing large is taken from anything large, however
    small the noise.
    """

    def __init__(self, of: Tables, by: Spread) -> None:
        design, noise, unit = of.design, of.noise, by.of_unit
        if of.keep is not None:
            noise = np.where(of.keep, noise, 0.0)
        largest = np.stack([noise.max(axis=1), unit.max(axis=1), by.own, by.group.max(axis=1)]).max(axis=0)
        self.of, self.hair = of, np.where(largest > 0, 1e-10 * largest, 1.0)[:, None]
        self._row: Floats = 1.0 / np.maximum(noise, self.hair)
        if of.keep is not None:
            self._row *= of.keep
        self._pair: Floats = design.by_pair_sums(self._row)
        # A unit without rows is divided by 1 in place of nought, and says nothing.
        lacking = self._pair == 0
        self._pair[lacking] = 1.0
        # What a unit in a cell weighs among those of the unit, and a unit among all.
        self._in_unit: Floats = self._pair / (1.0 + by.own[:, None] * self._pair)
        self._unit: Floats = design.by_units_of_pairs(self._in_unit)
        self._whole: Floats = 1.0 / (1.0 + unit * self._unit)
        if of.keep is not None:
            self._whole[design.by_units_of_pairs(lacking) > 0] = 0.0
        self._several_rows = (design.by_pair_sums.size > 1)[design.pair]
        self._several_pairs = (design.by_units_of_pairs.size > 1)[design.unit_of_pair]

    def solve(self, columns: Floats) -> Floats:
        """The inverse of the covariance times columns, given as tables by rows by columns."""
        design, row = self.of.design, self._row[:, :, None]
        pairs = _summed(design.by_pair_sums, row * columns) / self._pair[:, :, None]
        units = self._of_units(pairs)
        among = (self._whole[:, :, None] * units).take(design.unit_of_pair, axis=1)
        if self._several_pairs.any():
            apart = pairs - units[:, design.unit_of_pair]
            among += np.where(self._several_pairs[:, None], apart, 0.0)
        share = (self._in_unit / self._pair)[:, :, None] * among
        solved: Floats = share.take(design.pair, axis=1)
        if self._several_rows.any():
            some = np.flatnonzero(self._several_rows)
            solved[:, some] += columns.take(some, axis=1) - pairs.take(design.pair[some], axis=1)
        solved *= row
        return solved

    @cached_property
    def kernel(self) -> Floats:
        """Columns of cells and of groups times the inverse times the same columns."""
        design = self.of.design
        (at_pair, group, meeting), columns = design.pairs_at_groups, design.columns
        at_groups = meeting(self._row) / self._pair.take(at_pair, axis=1)
        means = self._in_unit / self._unit.take(design.unit_of_pair, axis=1)
        off = columns.own - at_groups.take(columns.meeting, axis=1)
        entries = np.concatenate([means, means.take(at_pair, axis=1) * at_groups, off], axis=1)
        weights = np.concatenate([self._unit * self._whole, self._row.take(columns.rows, axis=1)], axis=1)
        kernel = columns.entries.squares(entries, weights)
        if self._several_pairs.any():
            pairs = np.zeros((self._row.shape[0], design.pairs, design.cells + design.groups))
            pairs[:, np.arange(design.pairs), design.cell_of_pair] = 1.0
            pairs[:, at_pair, design.cells + group] = at_groups
            some = self._several_pairs
            apart = pairs[:, some] - self._of_units(pairs)[:, design.unit_of_pair[some]]
            kernel += _squared(apart, self._in_unit[:, some])
        return kernel

    def _of_units(self, pairs: Floats) -> Floats:
        """The means over units of what is given for each unit in a cell."""
        design = self.of.design
        if design.pairs == design.units:
            return pairs[:, design.by_units_of_pairs.order]
        return _summed(design.by_units_of_pairs, self._in_unit[:, :, None] * pairs) / self._unit[:, :, None]


def _squared(columns: Floats, weights: Floats) -> Floats:
    """The sums of products of all columns, weighted row by row."""
    return np.asarray(np.swapaxes(columns, 1, 2) @ (weights[:, :, None] * columns))


def _summed(over: Sums, values: Floats) -> Floats:
    """Sums over the middle axis."""
    if over.size.size == values.shape[1]:
        return values.take(over.order, axis=1)
    summed: Floats = np.add.reduceat(values.take(over.order, axis=1), over.first, axis=1)
    return summed
