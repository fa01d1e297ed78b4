"""Means of builds that units, clinics and gauges have in common, and the differences between them.

The model is reading = cell + unit + group + noise. A cell is what is compared: a build, or a base with a
part. A group is one gauge of one clinic: whatever leans there leans alike in every cell it read, so a clinic
that measured both builds with one gauge is its own control, and its lean leaves the difference. A unit read
in several cells is its own control likewise, as far as it changes from cell to cell as other units do.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from registry.statistics.covers import weights_of
from registry.statistics.crossed import Readings
from registry.statistics.designs import Codes
from registry.statistics.estimates import Estimate, Estimates, Known, Parts, estimated, pooled, variances
from registry.statistics.henderson import Spread, nothing_of_their_own, own_spread, spread
from registry.statistics.robust import Floats
from registry.statistics.tables import Tables, abreast
from registry.statistics.thinned import can_thin, thinned
from registry.statistics.wild import wild_units

__all__ = ["Estimate", "Fit", "Fits", "Readings", "fit", "fit_all", "fits"]

_FEW = 3.0
# What sums of readings are off by, as a share of what is summed: far below any digit that is told.
_ROUNDING = 1e-12


@dataclass(frozen=True)
class Fits:
    """Means of all cells by generalised least squares under the estimated spread, of tables side by side.

    `weights` are tables by cells by readings; `spread` is what units and groups were seen to scatter by;
    `wild` are the codes of units set aside, counted before they were; of tables that lack units of their own
    it has none.
    """

    tables: Tables
    weights: Floats
    spread: Spread
    wild: Codes

    @cached_property
    def means(self) -> Floats:
        """The means of the cells, a row a table."""
        means: Floats = (self.weights @ self.tables.mean[:, :, None])[:, :, 0]
        return means

    @property
    def aside(self) -> Floats:
        """How many units were set aside, a value a table."""
        of = self.tables
        aside: Floats = np.full(of.random.size, float(self.wild.size))
        if of.keep is not None:
            aside += (of.design.by_unit_sums(of.keep.astype(float)) == 0).sum(axis=1)
        return aside

    def parts(self, rows: Floats) -> Parts:
        """What puts variance into weighted sums of readings, `rows` having a row a table."""
        of, by, design = self.tables, self.spread, self.tables.design
        squares = design.by_unit_sums(rows) ** 2
        if of.fixed is not None:
            squares[:, of.fixed] = 0.0
        share, group = rows**2, (by.group * design.by_group_sums(rows) ** 2).sum(axis=1)
        kins: list[tuple[Any, Any]] = [(None, None)]
        if by.unit.shape[1] > 1:
            of_row = by.kin[:, design.unit]
            kins = [(by.kin == one, of_row == one) for one in range(by.unit.shape[1])]
        return Parts(
            unit=np.stack([_of_kin(squares, units) for units, _ in kins], axis=1),
            share=np.stack([_of_kin(share, marks) for _, marks in kins], axis=1),
            noise=np.stack([_of_kin(of.noise * share, marks) for _, marks in kins], axis=1),
            own=self._own(rows),
            group=group,
        )

    def _own(self, rows: Floats) -> Floats:
        """What units of their own in cells put in."""
        of, by, design = self.tables, self.spread, self.tables.design
        if not by.own.any():
            return np.zeros(rows.shape[0])
        own = design.by_pair_sums(rows) ** 2
        if of.fixed is not None:
            own[:, np.isin(design.unit_of_pair, of.fixed)] = 0.0
        return np.asarray(by.own * own.sum(axis=1))

    def sums(self, rows: Floats) -> Floats:
        """Weighted sums of readings, `rows` having a row a table; what is rounding alone is nought."""
        of = rows * self.tables.mean
        found: Floats = of.sum(axis=1)
        return np.where(np.abs(found) > _ROUNDING * np.abs(of).sum(axis=1), found, 0.0)

    def estimates(self, rows: Floats) -> Estimates:
        """The figures that weighted sums of readings are, `rows` having a row a table."""
        return estimated(self.sums(rows), self.parts(rows), self.known)

    def some(self, places: Codes) -> "Fits":
        """Some of the fits."""
        return Fits(self.tables.some(places), self.weights[places], self.spread.some(places), self.wild)

    @cached_property
    def known(self) -> Known:
        """The variance between units of each kin, and to how many degrees of freedom variances are known."""
        by = self.spread
        # A variance of nought from one or two degrees of freedom is no proof that there is none.
        told = (by.own > 0) | (by.own_freedom < _FEW)
        own = np.where(told, by.own_freedom, self.tables.noise_freedom)
        return Known(by.unit, by.unit_freedom, own, by.group_freedom)

    def between_units(self, cell: int) -> tuple[Floats, Floats]:
        """Variance between units in that cell, and the degrees of freedom it is known to, a value a table."""
        design, by = self.tables.design, self.spread
        if by.unit.shape[1] == 1:
            return by.unit[:, 0] + by.own, by.unit_freedom[:, 0]
        kin = by.kin[:, design.unit[design.cell == cell][0], None]
        unit, known = (np.take_along_axis(values, kin, axis=1)[:, 0] for values in (by.unit, by.unit_freedom))
        return unit + by.own, known

    def aheads(self, cell: int) -> Estimates:
        """One run of the next unit at the next clinic in that cell, as predicted: value, spread, freedom."""
        of, by = self.tables, self.spread
        unit, unit_freedom = self.between_units(cell)
        of_mean = variances(self.parts(self.weights[:, cell]), self.known)
        own = of_mean[:, :-1].sum(axis=1) + unit + (of.noise * of.runs).mean(axis=1)
        both = np.stack([own, of_mean[:, -1] + by.group.mean(axis=1)], axis=1)
        spread = pooled(both, np.stack([unit_freedom, by.group_freedom], axis=1))
        return Estimates(self.means[:, cell], *spread)


def _of_kin(values: Floats, marks: NDArray[np.bool_] | None) -> Floats:
    """The sums over what is marked, of all without marks."""
    found: Floats = (values if marks is None else np.where(marks, values, 0.0)).sum(axis=1)
    return found


@dataclass(frozen=True)
class Fit:
    """One of several fits made side by side: the `place`-th."""

    beside: Fits
    place: int

    @cached_property
    def alone(self) -> Fits:
        """The same as the only one of its kind."""
        return self.beside.some(np.array([self.place]))

    @cached_property
    def readings(self) -> Readings:
        """What was fitted, without the wild units."""
        return self.beside.tables.table(self.place)

    @property
    def weights(self) -> Floats:
        """What each reading weighs in each cell's mean: cells by readings."""
        return np.asarray(self.beside.weights[self.place])

    @property
    def means(self) -> Floats:
        """The means of the cells."""
        return np.asarray(self.beside.means[self.place])

    @property
    def wild(self) -> tuple[int, ...]:
        """The codes of units set aside, counted before they were."""
        return tuple(self.beside.wild.tolist())

    @property
    def spread(self) -> Spread:
        """What units and groups were seen to scatter by, without an axis for tables."""
        return self.beside.spread.table(self.place)

    def estimate(self, contrast: ArrayLike) -> Estimate:
        """The figure `contrast` makes of the cells' means, with Satterthwaite's degrees of freedom (GUM G.4).

        What units and groups have in common over cells cancels as far as the contrast lets it.
        """
        return self.alone.estimates(np.asarray(contrast, float) @ self.alone.weights).one(0)

    def between_units(self, cell: int) -> tuple[float, float]:
        """Variance between units in that cell, and the degrees of freedom it is known to."""
        unit, known = self.alone.between_units(cell)
        return float(unit[0]), float(known[0])

    def ahead(self, cell: int) -> Estimate:
        """One run of the next unit at the next clinic in that cell, as predicted: value, spread, freedom."""
        return self.alone.aheads(cell).one(0)


def fit(readings: Readings) -> Fit | None:
    """Fit the means of all cells; None where nothing tells how much units or groups scatter.

    Wild units are set aside first (`wild.wild_units`). The spread between units is taken to be one and the
    same in all cells unless they clearly differ. A unit read in several cells is its own control as far as
    what it changes by there is seen to be what all units change by; where too few units tell, it counts as a
    unit of its own in each. Variances follow from Henderson's third method (`henderson`). A group never
    counts for less than its gauge declares. Cost: units times the square of cells and groups.
    """
    return fit_all([readings])[0]


def fit_all(several: Sequence[Readings]) -> list[Fit | None]:
    """Fit each as `fit` does; those of one design are worked out side by side."""
    found: list[Fit | None] = [None] * len(several)
    for places, together in fits(abreast(several)):
        for place, of in enumerate(places.tolist()):
            found[of] = Fit(together, place)
    return found


def fits(several: Iterable[tuple[Codes, Tables]], *, thin: bool = False) -> Iterator[tuple[Codes, Fits]]:
    """Yield the fits of tables side by side, given with their places, and the places of each.

    Missing are those of which nothing tells how much units or groups scatter. With `thin`, tables that lose
    different wild units may be fitted together, without being parted by what they lose.
    """
    for places, tables in several:
        wild = _wild(tables)
        together = thinned(tables, wild) if thin and can_thin(tables.design) and _differ(wild) else None
        if together is not None:
            left, found = together
            yield places, Fits(left, weights_of(left, found), found, np.zeros(0, np.intp))
            continue
        for some, kept, aside in _sound(tables, wild):
            made = _fitted(kept, aside)
            if made is not None:
                yield places[some], made


def _differ(wild: NDArray[np.bool_]) -> bool:
    return bool((wild != wild[0]).any())


def _fitted(of: Tables, wild: Codes) -> Fits | None:
    own = own_spread(of) if of.shares_units else nothing_of_their_own(of)
    if own is None:
        of = of.apart()
        own = nothing_of_their_own(of)
    found = spread(of, own)
    return None if found is None else Fits(of, weights_of(of, found), found, wild)


def _wild(of: Tables) -> NDArray[np.bool_]:
    """The wild units of each table. No cell and no unit asked about is emptied."""
    design = of.design
    wild = wild_units(of.mean, of.noise, design.cell, design.unit, design.group)
    if of.fixed is not None:
        wild[:, of.fixed] = False
    for table in np.flatnonzero(wild.any(axis=1)):
        if np.unique(design.cell[~wild[table, design.unit]]).size < design.cells:
            wild[table] = False
    return wild


def _sound(of: Tables, wild: NDArray[np.bool_]) -> Iterator[tuple[Codes, Tables, Codes]]:
    """The tables without wild units, those that lose the same ones together: places, tables, wild units."""
    alike: dict[bytes, list[int]] = defaultdict(list)
    for place, marks in enumerate(wild):
        alike[marks.tobytes()].append(place)
    for places in map(np.array, alike.values()):
        marks = wild[places[0]]
        some = of if len(alike) == 1 else of.some(places)
        if marks.any():
            some = some.only(~marks[of.design.unit])
        yield places, some, np.flatnonzero(marks)
