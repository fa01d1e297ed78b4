"""Solve for tables in which every row has a unit's effect, a group's effect and noise of its own."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Cover:
    """The covariance of the rows of a table: noise on the diagonal, one unit effect and one group effect.

    `unit` and `group` are codes from 0 up, `noise` a variance a row, `of_unit` the variance between units, or
    one a unit, and `of_group` one variance a group. `pair`, where given, are codes within units (a unit in a
    cell), each with an effect of its own of the variance `of_pair`. A row without noise gets a hair, as the
    inverse needs one.
    """

    unit: Codes
    group: Codes
    noise: Floats
    of_unit: float | Floats
    of_group: Floats
    pair: Codes | None = None
    of_pair: float = 0.0

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
        # The last column weighs the rows themselves.
        solved = (
            1.0
            / np.maximum(self.noise, self._hair)[:, None]
            * np.column_stack([right, np.ones(right.shape[0])])
        )
        if self.pair is not None and self.of_pair > 0:
            solved = _less_effects(solved, self.pair, self.of_pair)
        return _less_effects(solved, self.unit, self.of_unit)[:, :-1]

    @property
    def _hair(self) -> float:
        of_unit = float(np.max(self.of_unit))
        largest = max(float(self.noise.max()), of_unit, self.of_pair, float(self.of_group.max()))
        return 1e-10 * largest if largest > 0 else 1.0


def _less_effects(solved: Floats, codes: Codes, variance: float | Floats) -> Floats:
    """One more effect taken into the covariance, by Sherman and Morrison; the last column is that of ones."""
    totals = np.zeros((int(codes.max()) + 1, solved.shape[1]))
    np.add.at(totals, codes, solved)
    shrink = variance / (1.0 + variance * totals[:, -1])
    less: Floats = solved - solved[:, -1:] * (shrink[:, None] * totals)[codes]
    return less
