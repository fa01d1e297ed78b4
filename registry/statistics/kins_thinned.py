"""How sums of squares part by kin, for several sets of rows of one design of two cells: as `kins` for one."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.designs import Codes, Design
from registry.statistics.henderson import SINGULAR
from registry.statistics.kins import TINY, left_by_codes, square_of_codes
from registry.statistics.robust import Floats

CELLS = 2


@dataclass(frozen=True)
class KinsThinned:
    """As `kins.Kins` for several sets of rows, where units of a cell are of one kin."""

    across: Floats
    along: Floats
    keep: Floats
    size_of_unit: Floats
    design: Design

    @cached_property
    def of_row(self) -> Codes:
        """The kin of each row's unit."""
        return self.design.kin[self.design.unit]

    @cached_property
    def told(self) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        """As `Kins.told`, and in which sets it serves to tell kins apart."""
        sets, kin = self.keep.shape[0], self.design.kin
        held, freedom = np.zeros((sets, CELLS, CELLS)), np.zeros((sets, CELLS))
        rows = np.stack([self.keep[:, self.of_row == one].sum(axis=1) for one in range(CELLS)], axis=1)
        some = np.flatnonzero((rows > 1).all(axis=1))
        if some.size:
            for one in range(CELLS):
                inside = (kin == one).astype(float)
                of = self.size_of_unit[some], self.along[some], self._within[one][some], inside
                left, square = left_by_codes(*of), square_of_codes(*of)
                held[some, one] = np.stack([left[:, kin == other].sum(axis=1) for other in (0, 1)], axis=1)
                told = square > TINY**2
                total = held[some, one].sum(axis=1) ** 2
                freedom[some, one] = np.where(told, total / np.where(told, square, 1.0), 0.0)
        serve: NDArray[np.bool_] = np.asarray((freedom >= 1 - TINY).all(axis=1))
        serve[serve] = np.linalg.cond(held[serve]) <= SINGULAR
        return held, freedom, serve

    def of_noise(self) -> Floats:
        """As `Kins.of_noise`: sets by readings by kins."""
        left = [
            left_by_codes(self.keep, self.across, self._within[one], (self.of_row == one) * self.keep)
            for one in range(CELLS)
        ]
        return np.stack(left, axis=2)

    @cached_property
    def _within(self) -> list[Floats]:
        """What `across` makes of the rows of each kin."""
        rows = [self.across[:, :, self.of_row == one] for one in range(CELLS)]
        return [mine @ np.swapaxes(mine, 1, 2) for mine in rows]
