"""Solve for tables in which every row has a unit's effect, a group's effect and noise of its own."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Cover:
    """The covariance of the rows of a table: noise on the diagonal, one unit effect and one group effect.

    `unit` and `group` are codes from 0 up, `noise` a variance a row, `of_unit` the variance between units and
    `of_group` one variance a group. A row without noise gets a hair, as the inverse needs one.
    """

    unit: Codes
    group: Codes
    noise: Floats
    of_unit: float
    of_group: Floats

    def solve(self, right: Floats) -> Floats:
        """Return the inverse of the covariance times `right` (a vector, or a column a problem).

        By Sherman-Morrison over units and Woodbury over groups, so that it costs rows times groups.
        """
        columns = right[:, None] if right.ndim == 1 else right
        groups = np.zeros((self.group.size, int(self.group.max()) + 1))
        groups[np.arange(self.group.size), self.group] = 1.0
        both = self._solve_units(np.column_stack([columns, groups]))
        plain, through = both[:, : columns.shape[1]], both[:, columns.shape[1] :]
        core = np.diag(1.0 / np.maximum(self.of_group, self._hair)) + groups.T @ through
        solved: Floats = plain - through @ np.linalg.solve(core, groups.T @ plain)
        return solved[:, 0] if right.ndim == 1 else solved

    def _solve_units(self, right: Floats) -> Floats:
        """The same without group effects; each unit's rows form a block of their own."""
        precision = 1.0 / np.maximum(self.noise, self._hair)
        scaled = precision[:, None] * right
        totals = np.zeros((int(self.unit.max()) + 1, right.shape[1]))
        np.add.at(totals, self.unit, scaled)
        shrink = self.of_unit / (1.0 + self.of_unit * np.bincount(self.unit, precision))
        solved: Floats = scaled - precision[:, None] * (shrink[:, None] * totals)[self.unit]
        return solved

    @property
    def _hair(self) -> float:
        largest = max(float(self.noise.max()), self.of_unit, float(self.of_group.max()))
        return 1e-10 * largest if largest > 0 else 1.0
