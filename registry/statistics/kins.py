"""How sums of squares within groups and cells part by kin: by the units that are read in the same builds.

Let M be 1 less `across` squared, where `across` has orthonormal rows that span groups and cells, and K the
rows of M of one kin times columns of codes, each marking its rows. With A what `across` makes of the columns
and W what it makes of the kin's rows, K'K is D - J A'A - A'A J + A'WA, where J marks the codes of the kin and
D counts their rows: nothing of the size of rows times rows is made.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.stacks import Codes, Sums

# Less than this of anything that codes decide is rounding.
TINY = 1e-9


@dataclass(frozen=True)
class Kins:
    """What codes alone decide: `of_unit` has the kin of each unit, `of_row` and `of_cell` that of its units.

    `across` has orthonormal rows, a column a reading, that span groups and cells; `by_unit` and `by_pair` sum
    over the rows of each unit, and of each unit in a cell, whose kin is `of_pair`.
    """

    across: Floats
    of_unit: Codes
    of_row: Codes
    of_cell: Codes
    of_pair: Codes
    by_unit: Sums
    by_pair: Sums

    @property
    def count(self) -> int:
        """How many kins there are."""
        return int(self.of_unit.max()) + 1

    @cached_property
    def told(self) -> tuple[Floats, Floats]:
        """How much of each kin's variance (column) each kin's sum of squares (row) holds, and the degrees of
        freedom each sum is worth. Nothing more is looked at once a kin is found that can tell nothing."""
        held, freedom = np.zeros((self.count, self.count)), np.zeros(self.count)
        # A row that is alone in its cell tells of nothing but the cell.
        if (np.bincount(self.of_row) <= np.bincount(self.of_cell)).any():
            return held, freedom
        along = self.by_unit(self.across)
        for one, within in enumerate(self._within):
            of = self.by_unit.size, along, within, _marks(self.of_unit, one)
            held[one] = np.bincount(self.of_unit, left_by_codes(*of), self.count)
            square = square_of_codes(*of)
            freedom[one] = held[one].sum() ** 2 / square if square > TINY**2 else 0.0
            if freedom[one] < 1 - TINY:
                break
        return held, freedom

    @cached_property
    def of_kin(self) -> Floats:
        """A column a kin that marks its rows."""
        marks = np.zeros((self.of_row.size, self.count))
        marks[np.arange(self.of_row.size), self.of_row] = 1.0
        return marks

    @cached_property
    def of_noise(self) -> Floats:
        """How much of each row's noise the sum of squares of each kin (column) holds."""
        rows = np.ones(self.of_row.size)
        left = [
            left_by_codes(rows, self.across, of, _marks(self.of_row, one))
            for one, of in enumerate(self._within)
        ]
        return np.column_stack(left)

    @cached_property
    def of_own(self) -> Floats:
        """How much the sum of squares of each kin holds of what units have of their own in cells."""
        along = self.by_pair(self.across)
        left = [
            left_by_codes(self.by_pair.size, along, of, _marks(self.of_pair, one))
            for one, of in enumerate(self._within)
        ]
        return np.array([of.sum() for of in left])

    @cached_property
    def _within(self) -> list[Floats]:
        """What `across` makes of the rows of each kin."""
        rows = [self.across[:, self.of_row == one] for one in range(self.count)]
        return [mine @ mine.T for mine in rows]


def _marks(kin: Codes, one: int) -> Floats:
    """1 for the codes of a kin."""
    marks: Floats = (kin == one).astype(float)
    return marks


def left_by_codes(rows: Floats, along: Floats, within: Floats, inside: Floats) -> Floats:
    """The diagonal of K'K: how much of each code's variance the sum of squares of a kin's rows holds.

    `rows` counts those of each code, `along` is A and `within` W; `inside` is 1 for the codes of the kin. All
    may have an axis for several sets of rows in front.
    """
    through: Floats = np.sum(along * (within @ along), axis=-2)
    left: Floats = through + inside * (rows - 2 * np.sum(along**2, axis=-2))
    return left


def square_of_codes(rows: Floats, along: Floats, within: Floats, inside: Floats) -> Floats:
    """The sum of squares of all of K'K, of the same."""
    own, size = inside * rows, along.shape[-2]
    both = np.concatenate([along, along * inside], axis=-2)
    core = np.zeros((*along.shape[:-2], 2 * size, 2 * size))
    core[..., :size, :size] = within
    core[..., :size, size:] = core[..., size:, :size] = -np.eye(size)
    turned = core @ (both @ np.swapaxes(both, -1, -2))
    own_square = np.sum(own * (2 * left_by_codes(rows, along, within, inside) - own), axis=-1)
    square: Floats = own_square + np.sum(turned * np.swapaxes(turned, -1, -2), axis=(-2, -1))
    return square
