"""How much units and groups scatter in tables side by side of which not all have all units.

Tables that lose different wild units are of different designs, and what a design decides costs more than
the readings of a few tables. For the plainest designs, two cells without a unit in common, it is worked out
for all sets of units at once. What is done is told where it is done for one design: `designs`, `kins`,
`henderson`.
"""

from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.crossed import CERTAIN
from registry.statistics.designs import Codes, Design
from registry.statistics.henderson import (
    MOST_UNITS,
    TELLING,
    Spread,
    clearly_unlike,
    freedom_of_groups,
    own_spreads,
)
from registry.statistics.kins import TINY
from registry.statistics.kins_thinned import CELLS, KinsThinned
from registry.statistics.robust import Floats
from registry.statistics.stacks import Sums
from registry.statistics.tables import Tables


def can_thin(design: Design) -> bool:
    """Whether designs with fewer units than that one can be worked out at once."""
    return (
        design.cells == CELLS
        and not design.shares_units
        and design.units <= MOST_UNITS
        and np.unique(design.build).size == CELLS
    )


def thinned(of: Tables, wild: NDArray[np.bool_]) -> tuple[Tables, Spread] | None:
    """The tables without some units each, and their spread; None where nothing tells it in one of them.

    `wild` marks the units to leave out, a row a table; every cell keeps one.
    """
    # The first table of each set, and the set of each table.
    first: dict[bytes, int] = {}
    of_first = [first.setdefault(marks.tobytes(), table) for table, marks in enumerate(wild)]
    sets, which = np.unique(of_first, return_inverse=True)
    keep = ~wild.take(of.design.unit, axis=1)
    designs = Thinned(of.design, keep[sets].astype(float))
    if not designs.tell.all():
        return None
    left = replace(of, keep=keep)
    return left, _spread(left, designs, np.asarray(which, np.intp))


class Thinned:
    """What codes decide in each of several sets of rows: `keep` has 1 for those in it, a row a set.

    A unit is in a set with all its rows or with none. Sums over what a set lacks are nought.
    """

    def __init__(self, design: Design, keep: Floats) -> None:
        self.design, self.keep = design, keep
        self.rows: Floats = keep.sum(axis=1)
        self.size_of_unit: Floats = design.by_unit_sums(keep)
        self.size_of_group: Floats = design.by_group_sums(keep)
        self.size_of_cell: Floats = design.by_cell_sums(keep)
        self.units: Floats = (self.size_of_unit > 0).sum(axis=1)
        self.groups: Floats = (self.size_of_group > 0).sum(axis=1)
        # Nothing is divided by nought where a set lacks all of a group.
        self.share_of_group: Floats = 1.0 / np.maximum(self.size_of_group, 1.0)

    @cached_property
    def _basis(self) -> tuple[Floats, NDArray[np.bool_]]:
        design = self.design
        column = self.keep * design.one_hot_cells[:, 1]
        column -= self.keep * (design.by_group_sums(column) * self.share_of_group)[:, design.group]
        size = np.sqrt(np.sum(column**2, axis=1))
        least = TINY * np.maximum(np.abs(column).max(axis=1), 1.0) * self.rows
        apart = size > least
        return np.where(apart, 1.0 / np.where(apart, size, 1.0), 0.0)[:, None] * column, apart

    @property
    def basis(self) -> Floats:
        """The unit vector for the cells beside the groups; nought where groups part cells."""
        return self._basis[0]

    @property
    def rank(self) -> Floats:
        """Whether there is one."""
        return self._basis[1].astype(float)

    @property
    def freedom(self) -> Floats:
        """Degrees of freedom within groups and cells."""
        return self.rows - self.groups - self.rank

    @cached_property
    def share(self) -> Floats:
        """As `Design.share`."""
        left: Floats = self.keep * (1 - self.share_of_group[:, self.design.group] - self.basis**2)
        return left

    @cached_property
    def within_groups(self) -> Floats:
        """As `Design.within_groups`: the same for units and for units in cells."""
        _, group, meeting = self.design.pairs_at_groups
        shared = np.sum(meeting(self.keep) ** 2 * self.share_of_group[:, group], axis=1)
        left: Floats = self.rows - shared - np.sum(self.design.by_unit_sums(self.basis) ** 2, axis=1)
        return left

    @cached_property
    def tell(self) -> NDArray[np.bool_]:
        """Whether groups and cells leave anything that tells how much units scatter."""
        return np.asarray((self.freedom > 0) & (self.within_groups > TINY))

    @cached_property
    def by_unit(self) -> Floats:
        """As `Design.by_unit`."""
        of_cell = self.size_of_cell[:, self._cell_of_unit]
        return np.asarray(self.size_of_unit - self.size_of_unit**2 / of_cell)

    @cached_property
    def by_group(self) -> Floats:
        """As `Design.by_group`."""
        held: Floats = np.zeros_like(self.size_of_group)
        for cell in range(CELLS):
            met = self.design.by_group_sums(self.keep * self.design.one_hot_cells[:, cell])
            held += met - met**2 / self.size_of_cell[:, cell, None]
        return held

    @property
    def _cell_of_unit(self) -> Codes:
        return self.design.cell_of_pair

    @cached_property
    def across(self) -> Floats:
        """As `Design.across`, nought where there is no such row: sets by groups and one by readings."""
        design = self.design
        found = np.zeros((self.keep.shape[0], design.groups + 1, self.keep.shape[1]))
        of_row = self.keep * np.sqrt(self.share_of_group)[:, design.group]
        found[:, design.group, np.arange(design.group.size)] = of_row
        found[:, -1] = self.basis
        return found

    @cached_property
    def _along(self) -> Floats:
        """What `across` makes of the columns of units."""
        return _summed(self.design.by_unit_sums, self.across)

    @cached_property
    def known(self) -> Floats:
        """To how many degrees of freedom the common variance between units is known."""
        rows, along = self.size_of_unit, self._along
        taken = np.sum(along**2, axis=1)
        crossed = np.sum((along @ np.swapaxes(along, 1, 2)) ** 2, axis=(1, 2))
        total = np.sum(rows**2, axis=1) - 2 * np.sum(rows * taken, axis=1) + crossed
        square = (rows.sum(axis=1) - taken.sum(axis=1)) ** 2
        several = (self.units < self.rows) & (total > TINY)
        worth = np.where(several, square / np.where(several, total, 1.0), np.inf)
        free = np.minimum(np.minimum(worth, self.freedom), self.units - CELLS)
        return np.asarray(np.maximum(free, 1.0))

    @cached_property
    def kins(self) -> KinsThinned:
        """As `Design.kins`."""
        return KinsThinned(self.across, self._along, self.keep, self.size_of_unit, self.design)


def _summed(over: Sums, values: Floats) -> Floats:
    """Sums over the last axis of three."""
    flat = over(values.reshape(-1, values.shape[2]))
    return flat.reshape(values.shape[0], values.shape[1], -1)


def _kept(of: Tables) -> Floats:
    """1 for the rows that a table has."""
    return np.ones_like(of.mean) if of.keep is None else of.keep.astype(float)


def _spread(of: Tables, by: Thinned, which: Codes) -> Spread:
    """As `henderson.spread` of tables each of a set of rows: `which`. No unit has anything of its own."""
    keep = _kept(of)
    apart = _beside_groups(of, by, which)
    squares = apart**2
    noise = of.noise * keep
    left = squares.sum(axis=1) - (noise * by.share[which]).sum(axis=1)
    common = np.maximum(left / by.within_groups[which], 0.0)
    kin, unit, freedom, unlike = _parted(of, by, which, squares, common)
    group, group_freedom = _of_groups(of, by, which, np.take_along_axis(unit, kin, axis=1))
    tables = of.random.size
    return Spread(kin, unit, freedom, np.zeros(tables), CERTAIN, group, group_freedom, unlike)


def _beside_groups(of: Tables, by: Thinned, which: Codes) -> Floats:
    """What groups and cells leave of each reading."""
    design, keep = of.design, _kept(of)
    means = design.by_group_sums(of.mean * keep) * by.share_of_group[which]
    apart = (of.mean - means[:, design.group]) * keep
    basis = by.basis[which]
    return np.asarray(apart - (apart * basis).sum(axis=1, keepdims=True) * basis)


def _parted(
    of: Tables, by: Thinned, which: Codes, squares: Floats, common: Floats
) -> tuple[Codes, Floats, Floats, NDArray[np.bool_]]:
    """The kin of each unit, a variance a kin with its degrees of freedom, and whether kins clearly differ."""
    tables, design = of.random.size, of.design
    kin = np.zeros((tables, design.units), np.intp)
    unit = np.column_stack([common, np.zeros(tables)])
    known = np.column_stack([by.known[which], np.full(tables, np.inf)])
    unlike = np.zeros(tables, bool)
    held, freedom, serve = by.kins.told
    some = np.flatnonzero(serve[which])
    if some.size:
        at = which[some]
        held, freedom = held[at], freedom[at]
        of_kin = np.stack([by.kins.of_row == one for one in range(CELLS)], axis=1).astype(float)
        own = squares[some] @ of_kin
        noise = np.einsum("tr,trk->tk", of.noise[some], by.kins.of_noise()[at])
        unlike[some] = clearly_unlike(own, held.sum(axis=2), freedom)
        parted = unlike[some] | (freedom.min(axis=1) < TELLING)
        units, freedoms = own_spreads(own - noise, held, freedom, unlike[some])
        told = some[parted]
        kin[told], unit[told], known[told] = design.kin, units[parted], freedoms[parted]
    return kin, unit, known, unlike


def _of_groups(of: Tables, by: Thinned, which: Codes, unit: Floats) -> tuple[Floats, Floats]:
    """A variance a group, no less than its gauge declares, and its degrees of freedom."""
    design, keep = of.design, _kept(of)
    of_cell = by.size_of_cell[which]
    means = design.by_cell_sums(of.mean * keep) / of_cell
    apart = (of.mean - means[:, design.cell]) * keep
    noise = of.noise * keep * (1 - 1 / of_cell[:, design.cell])
    left = (apart**2).sum(axis=1) - noise.sum(axis=1)
    there = by.size_of_group[which] > 0
    leaning = design.by_group_sums(of.systematic**2 * keep) * by.share_of_group[which]
    held = by.by_group.sum(axis=1)[which]
    told = np.where(held > TINY, (by.groups + by.rank - CELLS)[which], 0.0)
    units = (unit * by.by_unit[which]).sum(axis=1)
    known = told > 0
    estimated = np.where(known, np.maximum((left - units) / np.where(known, held, 1.0), 0.0), 0.0)
    group = np.maximum(leaning, estimated[:, None])
    number = there.sum(axis=1)
    declared, taken = (np.where(there, values, 0.0).sum(axis=1) / number for values in (leaning, group))
    return group, freedom_of_groups(estimated, declared, taken, told)
