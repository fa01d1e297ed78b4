"""Units read in several cells by several groups: the table differences are worked out from."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.designs import Codes, Design, design_of
from registry.statistics.robust import Floats

CERTAIN = 1e6


@dataclass(frozen=True)
class Readings:
    """One row a unit, group and cell; all codes run from 0 up and every cell has a row.

    `mean` is the mean of `runs`; `systematic` the standard uncertainty the group's readings share; `squares`
    and `freedom` pool squared deviations of runs from their row's mean; `random` is the standard uncertainty
    of one run by its own scatter. `fixed` marks units that are themselves what is asked about, so that their
    own deviation is part of the answer and not of its doubt. `build`, a code a cell, says which cells are of
    one build and so have one spread between units; without it every cell is a build of its own.
    """

    cell: Codes
    unit: Codes
    group: Codes
    mean: Floats
    runs: Floats
    systematic: Floats
    random: float
    squares: float
    freedom: int
    fixed: Codes | None = None
    build: Codes | None = None

    @cached_property
    def design(self) -> Design:
        """Who read what."""
        return design_of(self.cell, self.unit, self.group, self.build)

    @property
    def pair(self) -> Codes:
        """Codes of units in cells, from 0 up."""
        return self.design.pair

    @property
    def shares_units(self) -> bool:
        """Whether any unit was read in more than one cell."""
        return self.design.shares_units

    def only(self, keep: NDArray[np.bool_]) -> "Readings":
        """The same table with the rows to keep; codes run from 0 up again, runs stay pooled over all rows."""
        units, unit = np.unique(self.unit[keep], return_inverse=True)
        cells, cell = np.unique(self.cell[keep], return_inverse=True)
        return replace(
            self,
            cell=cell,
            build=None if self.build is None else np.unique(self.build[cells], return_inverse=True)[1],
            unit=unit,
            group=np.unique(self.group[keep], return_inverse=True)[1],
            mean=self.mean[keep],
            runs=self.runs[keep],
            systematic=self.systematic[keep],
            fixed=None if self.fixed is None else np.flatnonzero(np.isin(units, self.fixed)),
        )

    def apart(self) -> "Readings":
        """The same table with every unit a unit of its own in each cell."""
        pair = self.pair
        fixed = None if self.fixed is None else np.unique(pair[np.isin(self.unit, self.fixed)])
        return replace(self, unit=pair, fixed=fixed)

    @cached_property
    def noise(self) -> Floats:
        """Variance of each row's mean by its runs, never below what the runs declare of themselves."""
        repeat = self.squares / self.freedom if self.freedom >= 2 else self.random**2
        doubt: Floats = np.maximum(repeat, self.random**2) / self.runs
        return doubt

    @property
    def noise_freedom(self) -> float:
        """Degrees of freedom of the noise; what runs declare of themselves counts as known."""
        declared = self.freedom < 2 or self.squares / self.freedom <= self.random**2
        return CERTAIN if declared else float(self.freedom)

    @property
    def leaning(self) -> Floats:
        """Mean square of the declared systematic uncertainty, a value a group."""
        squares: Floats = np.bincount(self.group, self.systematic**2) / np.bincount(self.group)
        return squares
