"""Tables of readings of one design side by side: the same units read in the same cells by the same groups.

The values of one comparison, setting by setting and metric by metric, mostly are of one design. All of them
are worked out at once, a row a table, since for the few rows of a table it is the number of calls that costs.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.crossed import CERTAIN, Readings
from registry.statistics.designs import Codes, Design, design_of
from registry.statistics.robust import MAD_TO_SD, Floats

_VALUES = ("mean", "runs", "systematic", "random", "squares", "freedom")
# So many times two codes may differ in size to be ranked together.
_OCTAVES = 3


@dataclass(frozen=True)
class Tables:
    """As `crossed.Readings`, with an axis for the tables in front of all values.

    `mean`, `runs` and `systematic` are tables by rows; `random`, `squares` and `freedom` have one value a
    table. `keep` marks the rows that a table has, tables by rows, where not all have all of them; values in
    other places mean nothing.
    """

    design: Design
    mean: Floats
    runs: Floats
    systematic: Floats
    random: Floats
    squares: Floats
    freedom: Floats
    fixed: Codes | None = None
    keep: NDArray[np.bool_] | None = None

    @cached_property
    def run(self) -> Floats:
        """The mean noise of a row, a value a table."""
        found: Floats = self.noise.mean(axis=1, where=True if self.keep is None else self.keep)
        return found

    @cached_property
    def noise(self) -> Floats:
        """Variance of each row's mean by its runs, never below what the runs declare of themselves."""
        declared = self.random**2
        repeat = np.where(self.freedom >= 2, self.squares / np.maximum(self.freedom, 1.0), declared)
        doubt: Floats = np.maximum(repeat, declared)[:, None] / self.runs
        return doubt

    @property
    def noise_freedom(self) -> Floats:
        """Degrees of freedom of the noise; what runs declare of themselves counts as known."""
        seen = self.squares / np.maximum(self.freedom, 1.0)
        declared = (self.freedom < 2) | (seen <= self.random**2)
        return np.where(declared, CERTAIN, self.freedom)

    @cached_property
    def leaning(self) -> Floats:
        """Mean square of the declared systematic uncertainty, a value a group."""
        by_group = self.design.by_group_sums
        squares: Floats = by_group(self.systematic**2) / by_group.size
        return squares

    @property
    def shares_units(self) -> bool:
        """Whether any unit was read in more than one cell."""
        return self.design.shares_units

    def some(self, places: Codes) -> "Tables":
        """Some of the tables."""
        keep = None if self.keep is None else self.keep[places]
        return replace(self, **{name: getattr(self, name)[places] for name in _VALUES}, keep=keep)

    def only(self, keep: NDArray[np.bool_]) -> "Tables":
        """The rows to keep of all tables; codes run from 0 up again, runs stay pooled over all rows."""
        of, kept = self.design, np.flatnonzero(keep)
        units, unit = np.unique(of.unit[keep], return_inverse=True)
        cells, cell = np.unique(of.cell[keep], return_inverse=True)
        group = np.unique(of.group[keep], return_inverse=True)[1]
        build = np.unique(of.build[cells], return_inverse=True)[1]
        return replace(
            self,
            design=design_of(cell, unit, group, build),
            mean=self.mean.take(kept, axis=1),
            runs=self.runs.take(kept, axis=1),
            systematic=self.systematic.take(kept, axis=1),
            fixed=None if self.fixed is None else np.flatnonzero(np.isin(units, self.fixed)),
        )

    def apart(self) -> "Tables":
        """The same tables with every unit a unit of its own in each cell."""
        of = self.design
        fixed = None if self.fixed is None else np.unique(of.pair[np.isin(of.unit, self.fixed)])
        return replace(self, design=design_of(of.cell, of.pair, of.group, of.build), fixed=fixed)

    def table(self, place: int) -> Readings:
        """One of them by itself."""
        of = self.design
        return Readings(
            of.cell,
            of.unit,
            of.group,
            self.mean[place],
            self.runs[place],
            self.systematic[place],
            float(self.random[place]),
            float(self.squares[place]),
            int(self.freedom[place]),
            self.fixed,
            of.build,
        )


def abreast(several: Sequence[Readings]) -> list[tuple[Codes, Tables]]:
    """The readings as tables side by side, those of one design together, and the places of each."""
    found: dict[tuple[int, bytes | None], list[int]] = defaultdict(list)
    for place, of in enumerate(several):
        found[id(of.design), None if of.fixed is None else of.fixed.tobytes()].append(place)
    return [(np.array(places), _stacked([several[place] for place in places])) for places in found.values()]


def joined(several: Sequence[Tables]) -> Tables:
    """Tables of one design one after the other."""
    if len(several) == 1:
        return several[0]
    values = {name: np.concatenate([getattr(of, name) for of in several]) for name in _VALUES}
    return Tables(several[0].design, **values, fixed=several[0].fixed)


def _stacked(several: Sequence[Readings]) -> Tables:
    values = {name: np.array([getattr(of, name) for of in several], float) for name in _VALUES}
    return Tables(several[0].design, **values, fixed=several[0].fixed)


class Medians:
    """The median of each code's values in every row of a table of values; codes run from 0 up."""

    def __init__(self, codes: Codes) -> None:
        size, order = np.bincount(codes), np.argsort(codes, kind="stable")
        # Codes of about one size are ranked together, so that there is little to fill up.
        alike = np.log2(size).astype(np.intp) // _OCTAVES
        some = [np.flatnonzero(alike == one) for one in range(int(alike.max()) + 1)]
        self._ranked = [_Ranked(of, size, order) for of in some if of.size]
        self._codes = size.size

    def __call__(self, values: Floats) -> Floats:
        """A column a code in place of a column a row."""
        found = np.empty((values.shape[0], self._codes))
        for one in self._ranked:
            found[:, one.codes] = one(values)
        return found


class _Ranked:
    """The medians of some of the codes."""

    def __init__(self, some: Codes, size: Codes, order: Codes) -> None:
        self.codes, mine = some, size[some]
        longest = int(mine.max())
        # A row of places for each code, filled up with that of an infinite value.
        within, first = np.arange(longest), (np.cumsum(size) - size)[some, None]
        inside = within < mine[:, None]
        self._places = np.where(inside, order[np.minimum(first + within, order.size - 1)], order.size)
        self._filled = not inside.all()
        start = np.arange(some.size) * longest
        self._low, self._high = start + (mine - 1) // 2, start + mine // 2

    def __call__(self, values: Floats) -> Floats:
        if self._filled:
            values = np.concatenate([values, np.full((values.shape[0], 1), np.inf)], axis=1)
        ranked = values.take(self._places, axis=1)
        ranked.sort(axis=-1)
        flat = ranked.reshape(values.shape[0], -1)
        found: Floats = (flat.take(self._low, axis=1) + flat.take(self._high, axis=1)) / 2
        return found


def scaled_mads(values: Floats) -> Floats:
    """As `robust.scaled_mad` of each row."""
    return MAD_TO_SD * _middle(np.abs(values - _middle(values)[:, None]))


def _middle(values: Floats) -> Floats:
    ranked = np.sort(values, axis=1)
    size = values.shape[1]
    found: Floats = (ranked[:, (size - 1) // 2] + ranked[:, size // 2]) / 2
    return found
