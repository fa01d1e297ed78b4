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

    Rows without noise get a hair, as the inverse of the covariance needs one. Cost: units times the square of
    cells and groups.
    """
    cover = _Cover(of, by)
    cells = of.design.cells
    kernel = cover.kernel
    core = kernel[:, cells:, cells:]
    places = np.arange(of.design.groups)
    core[:, places, places] += 1.0 / np.maximum(by.group, cover.hair)
    through = np.linalg.solve(core, kernel[:, cells:, :cells])
    normal = kernel[:, :cells, :cells] - kernel[:, :cells, cells:] @ through
    solved = cover.solve(of.design.one_hot_cells - through[:, of.design.group])
    return np.asarray(np.linalg.solve(normal, np.swapaxes(solved, 1, 2)), float)


class _Cover:
    """The covariance of the rows but for groups: noise, units, and what units have of their own in cells."""

    def __init__(self, of: Tables, by: Spread) -> None:
        noise, unit, own = of.noise, by.of_unit, by.own
        largest = np.maximum(
            np.maximum(noise.max(axis=1), unit.max(axis=1)), np.maximum(own, by.group.max(axis=1))
        )
        self.of, self.hair = of, np.where(largest > 0, 1e-10 * largest, 1.0)[:, None]
        self._inverse: Floats = 1.0 / np.maximum(noise, self.hair)
        design = of.design
        # Effects in turn, as Sherman and Morrison take them in: of units in cells, then of units.
        total = design.by_pair_sums(self._inverse)
        self._of_pair: Floats = own[:, None] / (1.0 + own[:, None] * total)
        self._left: Floats = 1.0 - self._of_pair * total
        among = design.by_units_of_pairs(total * self._left)
        self._of_unit: Floats = unit / (1.0 + unit * among)

    def solve(self, columns: Floats) -> Floats:
        """The inverse of the covariance times columns, given as tables by rows by columns."""
        design = self.of.design
        solved = self._inverse[:, :, None] * columns
        pairs = _summed(design.by_pair_sums, solved)
        within = self._of_pair[:, :, None] * pairs
        units = _summed(design.by_units_of_pairs, pairs * self._left[:, :, None])
        among = (self._of_unit[:, :, None] * units)[:, design.unit_of_pair] * self._left[:, :, None]
        less = (within + among)[:, design.pair]
        found: Floats = solved - self._inverse[:, :, None] * less
        return found

    @cached_property
    def kernel(self) -> Floats:
        """Columns of cells and of groups times the inverse times the same columns."""
        design = self.of.design
        size = design.cells + design.groups
        kernel = np.zeros((self._inverse.shape[0], size, size))
        by_cell, by_group = design.by_cell_sums(self._inverse), design.by_group_sums(self._inverse)
        diagonal = np.arange(size)
        kernel[:, diagonal, diagonal] = np.concatenate([by_cell, by_group], axis=1)
        cells, groups, at = design.cells_at_groups
        groups = design.cells + groups
        kernel[:, cells, groups] = kernel[:, groups, cells] = at(self._inverse)
        # A row a unit in a cell: what it holds of each column.
        held = np.zeros((kernel.shape[0], design.pairs, size))
        pairs, groups, at = design.pairs_at_groups
        held[:, np.arange(design.pairs), design.cell_of_pair] = design.by_pair_sums(self._inverse)
        held[:, pairs, design.cells + groups] = at(self._inverse)
        if self._of_pair.any():
            kernel -= np.swapaxes(held, 1, 2) @ (self._of_pair[:, :, None] * held)
            held *= self._left[:, :, None]
        units = held if design.pairs == design.units else _summed(design.by_units_of_pairs, held)
        kernel -= np.swapaxes(units, 1, 2) @ (self._of_unit[:, :, None] * units)
        return kernel


def _summed(over: Sums, values: Floats) -> Floats:
    """Sums over the middle axis."""
    if over.size.size == values.shape[1]:
        return values[:, over.order]
    summed: Floats = np.add.reduceat(values[:, over.order], over.first, axis=1)
    return summed
