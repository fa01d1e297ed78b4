"""Means of builds that units, clinics and gauges have in common, and the differences between them.

The model is reading = cell + unit + group + noise. A cell is what is compared: a build, or a base with a
part. A group is one gauge of one clinic: whatever leans there leans alike in every cell it read, so a clinic
that measured both builds with one gauge is its own control, and its lean leaves the difference. A unit read
in several cells is its own control likewise, as far as it changes from cell to cell as other units do.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from registry.statistics.crossed import CERTAIN, Readings
from registry.statistics.designs import one_hot
from registry.statistics.henderson import NOTHING_OF_THEIR_OWN, Spread, own_spread, spread
from registry.statistics.mixed import Codes, Cover
from registry.statistics.robust import Floats
from registry.statistics.wild import wild_units

_HAIR = 1e-300
# Units count as cancelled only to a third of the degree they are: found by simulated coverage.
_WARY = 3.0
_FEW = 3.0


@dataclass(frozen=True)
class Estimate:
    """A linear figure of the cells' means, its standard error and the degrees of freedom that is known to."""

    value: float
    error: float
    freedom: float

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Both ends by Student's t."""
        half = float(special.stdtrit(self.freedom, (1 + coverage) / 2)) * self.error
        return self.value - half, self.value + half

    def p_above(self, bound: float) -> float:
        """One-sided p-value against the figure's being at or below `bound`."""
        return self._tail(self.value - bound)

    def p_below(self, bound: float) -> float:
        """One-sided p-value against the figure's being at or above `bound`."""
        return self._tail(bound - self.value)

    def p_apart(self, bound: float = 0.0) -> float:
        """Two-sided p-value against the figure's being `bound`."""
        return min(1.0, 2 * self._tail(abs(self.value - bound)))

    def _tail(self, distance: float) -> float:
        if self.error <= 0:
            return 0.0 if distance > 0 else 1.0
        return float(special.stdtr(self.freedom, -distance / self.error))


@dataclass(frozen=True)
class Fit:
    """Means of all cells by generalised least squares under the estimated spread.

    `weights` has a row a cell and a column a reading; `spread` is what units and groups were seen to scatter
    by.
    """

    readings: Readings
    weights: Floats
    spread: Spread
    wild: tuple[int, ...] = ()

    @cached_property
    def means(self) -> Floats:
        """The means of the cells."""
        means: Floats = self.weights @ self.readings.mean
        return means

    def estimate(self, contrast: ArrayLike) -> Estimate:
        """The figure `contrast` makes of the cells' means, with Satterthwaite's degrees of freedom (GUM G.4).

        What units and groups have in common over cells cancels as far as the contrast lets it.
        """
        rows = np.asarray(contrast, float) @ self.weights
        parts, known = self._parts(rows)
        return Estimate(float(rows @ self.readings.mean), *_pooled(parts, known))

    def _squares(self, rows: Floats) -> Floats:
        """How much of each unit's variance a weighted sum of readings holds."""
        of = self.readings
        squares: Floats = np.square(np.bincount(of.unit, rows), dtype=np.float64)
        if of.fixed is not None:
            squares[of.fixed] = 0.0
        return squares

    def _parts(self, rows: Floats) -> tuple[list[float], list[float]]:
        """What puts variance into a weighted sum of readings, and to how many degrees each is known."""
        of, by = self.readings, self.spread
        units = np.bincount(by.kin, self._squares(rows))
        # Units and noise are known from one sum of squares: where little is known, noise alone never passes
        # for all there is. As far as units cancel, noise is known from repeats, or with what units have of
        # their own in each cell.
        kin = by.kin[of.unit]
        share = np.bincount(kin, rows**2)
        left = np.minimum(_WARY * units / np.maximum(share, _HAIR), 1.0)
        noise = np.bincount(kin, of.noise * rows**2)
        cancelled = self._own(rows) + float((1 - left) @ noise)
        parts = [
            *(by.unit * units + left * noise),
            cancelled,
            float(by.group @ np.bincount(of.group, rows) ** 2),
        ]
        # A variance of nought from one or two degrees of freedom is no proof that there is none.
        told = by.own.variance > 0 or by.own.freedom < _FEW
        alone = by.own.freedom if told else of.noise_freedom
        return parts, [*by.unit_freedom, alone, by.group_freedom]

    def _own(self, rows: Floats) -> float:
        """The variance that comes from what units have of their own in each cell."""
        of, own = self.readings, self.spread.own.variance
        if own <= 0:
            return 0.0
        asked = np.zeros(of.unit.size, bool) if of.fixed is None else np.isin(of.unit, of.fixed)
        return own * float(np.sum(np.bincount(of.pair, np.where(asked, 0.0, rows)) ** 2))

    def between_units(self, cell: int) -> tuple[float, float]:
        """Variance between units in that cell, and the degrees of freedom it is known to."""
        kin = self.spread.kin[self.readings.unit[self.readings.cell == cell][0]]
        return float(self.spread.unit[kin]) + self.spread.own.variance, float(self.spread.unit_freedom[kin])

    def ahead(self, cell: int) -> Estimate:
        """One run of the next unit at the next clinic in that cell, as predicted: value, spread, freedom."""
        of = self.readings
        unit, unit_freedom = self.between_units(cell)
        own = unit + float(np.mean(of.noise * of.runs))
        *among, between = self._parts(self.weights[cell])[0]
        variances = own + sum(among), between + float(np.mean(self.spread.group))
        return Estimate(
            float(self.means[cell]), *_pooled(variances, (unit_freedom, self.spread.group_freedom))
        )


def _pooled(parts: Sequence[float], known: Sequence[float]) -> tuple[float, float]:
    """The standard error of variances put together, and Satterthwaite's degrees of freedom."""
    variance = sum(parts)
    doubt = sum(part**2 / freedom for part, freedom in zip(parts, known, strict=True))
    return variance**0.5, variance**2 / doubt if doubt > 0 else CERTAIN


def fit(readings: Readings) -> Fit | None:
    """Fit the means of all cells; None where nothing tells how much units or groups scatter.

    Wild units are set aside first (`wild.wild_units`). The spread between units is taken to be one and the
    same in all cells unless they clearly differ. A unit read in several cells is its own control as far as
    what it changes by there is seen to be what all units change by; where too few units tell, it counts as a
    unit of its own in each. Variances follow from Henderson's third method (`henderson`). A group never
    counts for less than its gauge declares. Cost: rows times groups.
    """
    kept, wild = _sound(readings)
    own = own_spread(kept) if kept.shares_units else NOTHING_OF_THEIR_OWN
    if own is None:
        kept, own = kept.apart(), NOTHING_OF_THEIR_OWN
    found = spread(kept, own)
    if found is None:
        return None
    design = one_hot(kept.cell)
    cover = Cover(
        kept.unit,
        kept.group,
        kept.noise,
        found.unit[found.kin],
        found.group,
        kept.pair if own.variance > 0 else None,
        own.variance,
    )
    solved = cover.solve(design)
    weights = np.asarray(np.linalg.solve(design.T @ solved, solved.T), float)
    return Fit(kept, weights, found, tuple(wild.tolist()))


def _sound(readings: Readings) -> tuple[Readings, Codes]:
    """The rows without wild units, and which units those are; no cell and no unit asked about is emptied."""
    wild = wild_units(readings.mean, readings.noise, readings.cell, readings.unit, readings.group)
    if readings.fixed is not None:
        wild = np.setdiff1d(wild, readings.fixed)
    if not wild.size:
        return readings, wild
    keep = ~np.isin(readings.unit, wild)
    if np.unique(readings.cell[keep]).size <= int(readings.cell.max()):
        return readings, np.zeros(0, np.intp)
    return readings.only(keep), wild
