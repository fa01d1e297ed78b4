"""Means of builds that units, clinics and gauges have in common, and the differences between them.

The model is reading = cell + unit + group + noise. A cell is what is compared: a build, or a base with a
part. A group is one gauge of one clinic: whatever leans there leans alike in every cell it read, so a clinic
that measured both builds with one gauge is its own control, and its lean leaves the difference. A unit read
in several cells is its own control likewise.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from registry.statistics.crossed import CERTAIN, Readings, one_hot
from registry.statistics.henderson import spread
from registry.statistics.mixed import Codes, Cover
from registry.statistics.robust import Floats
from registry.statistics.wild import wild_units

_HAIR = 1e-300
# Units count as cancelled only to a third of the degree they are: found by simulated coverage.
_WARY = 3.0


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

    `weights` has a row a cell and a column a reading. `unit` is the variance between units, `group` one
    variance a group; `unit_freedom` and `group_freedom` say to how many degrees of freedom they are known.
    """

    readings: Readings
    weights: Floats
    unit: float
    group: Floats
    unit_freedom: float
    group_freedom: float
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
        of = self.readings
        by_unit = np.bincount(of.unit, rows)
        if of.fixed is not None:
            by_unit[of.fixed] = 0.0
        # Units and noise are known from one sum of squares: where little is known, noise alone never passes
        # for all there is. As far as units cancel, noise is known from repeats.
        noise = float(of.noise @ rows**2)
        left = min(_WARY * float(by_unit @ by_unit) / max(float(rows @ rows), _HAIR), 1.0)
        parts = (
            self.unit * float(by_unit @ by_unit) + left * noise,
            (1 - left) * noise,
            float(self.group @ np.bincount(of.group, rows) ** 2),
        )
        known = (self.unit_freedom, of.noise_freedom, self.group_freedom)
        variance = sum(parts)
        doubt = sum(part**2 / freedom for part, freedom in zip(parts, known, strict=True))
        freedom = variance**2 / doubt if doubt > 0 else CERTAIN
        return Estimate(float(rows @ of.mean), variance**0.5, freedom)

    def ahead(self, cell: int) -> Estimate:
        """One run of the next unit at the next clinic in that cell, as predicted: value, spread, freedom."""
        of = self.readings
        rows = self.weights[cell]
        own = self.unit + float(np.mean(of.noise * of.runs))
        among = self.unit * float(np.sum(np.bincount(of.unit, rows) ** 2)) + float(of.noise @ rows**2)
        between = float(self.group @ np.bincount(of.group, rows) ** 2) + float(np.mean(self.group))
        variance = own + among + between
        doubt = (own + among) ** 2 / self.unit_freedom + between**2 / self.group_freedom
        freedom = variance**2 / doubt if doubt > 0 else CERTAIN
        return Estimate(float(self.means[cell]), variance**0.5, freedom)


def fit(readings: Readings) -> Fit | None:
    """Fit the means of all cells; None where nothing tells how much units or groups scatter.

    Wild units are reined in within their cell first (`nested.tamed`). The spread between units is taken to be
    one and the same in all cells. Both variances follow from Henderson's third method (Biometrics 9, 1953):
    sums of squares within groups and cells, and within cells, set equal to their expectations. A group
    never counts for less than its gauge declares. Cost: rows times groups.
    """
    kept, wild = _sound(readings)
    found = spread(kept)
    if found is None:
        return None
    unit, group, unit_freedom, group_freedom = found
    design = one_hot(kept.cell)
    solved = Cover(kept.unit, kept.group, kept.noise, unit, group).solve(design)
    weights = np.asarray(np.linalg.solve(design.T @ solved, solved.T), float)
    return Fit(kept, weights, unit, group, unit_freedom, group_freedom, tuple(wild.tolist()))


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
    units, unit = np.unique(readings.unit[keep], return_inverse=True)
    kept = replace(
        readings,
        cell=readings.cell[keep],
        unit=unit,
        group=np.unique(readings.group[keep], return_inverse=True)[1],
        mean=readings.mean[keep],
        runs=readings.runs[keep],
        systematic=readings.systematic[keep],
        fixed=None if readings.fixed is None else np.flatnonzero(np.isin(units, readings.fixed)),
    )
    return kept, wild
