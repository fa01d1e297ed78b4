"""Units measured at clinics: the table every precision figure is worked out from."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import MAD_TO_SD, Floats, middles, reined, scaled_mad, weighted_median

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Cells:
    """One row a unit at a clinic.

    `unit` and `clinic` are codes from 0 up; `mean` the mean of its `runs`; `systematic` the standard
    uncertainty shared by all that clinic's readings there. `squares` and `freedom` pool the squared
    deviations of runs from their own mean over all rows; `random` is the standard uncertainty of one run from
    its own scatter of cycles, which stands in for repeatability where nobody repeated a run.
    """

    unit: Codes
    clinic: Codes
    mean: Floats
    runs: Floats
    systematic: Floats
    random: float
    squares: float
    freedom: int

    @cached_property
    def units(self) -> int:
        """How many units."""
        return int(self.unit.max()) + 1

    @cached_property
    def clinics(self) -> int:
        """How many clinics."""
        return int(self.clinic.max()) + 1

    @property
    def repeat_variance(self) -> float | None:
        """Variance of runs about their unit's mean, pooled as in ISO 5725-2; None below 2 repeats."""
        return self.squares / self.freedom if self.freedom >= 2 else None

    @cached_property
    def noise(self) -> Floats:
        """Variance of each row's mean from its runs alone."""
        repeat = self.repeat_variance
        return (self.random**2 if repeat is None else repeat) / self.runs

    @cached_property
    def doubt(self) -> Floats:
        """The same, but never below what the runs declare of themselves.

        Repeats that agree to the last digit, as counts of nothing do, make no run more certain than it is.
        """
        return np.maximum(self.noise, self.random**2 / self.runs)

    @cached_property
    def unit_means(self) -> Floats:
        """One mean a unit, each clinic that measured it counting once."""
        return np.bincount(self.unit, self.mean) / np.bincount(self.unit)


def tamed(cells: Cells) -> Cells:
    """The same table with wild means reined in: first units within their clinic, then against them all.

    The first step needs three units at a clinic, and shares one scale over all clinics; the second weighs
    clinics alike, and counts the clinics as its sample size, since a clinic's units lean the same way.
    """
    within = replace(cells, mean=_tamed_within(cells))
    return replace(cells, mean=_tamed_overall(within))


def _tamed_within(cells: Cells) -> Floats:
    mean = cells.mean.copy()
    crowded = np.bincount(cells.clinic) >= 3
    if not crowded.any():
        return mean
    rows = np.flatnonzero(crowded[cells.clinic])
    centres = middles(mean, cells.clinic)[cells.clinic[rows]]
    apart = mean[rows] - centres
    # Each clinic's own median uses up one deviation.
    size = int(apart.size - crowded.sum() + 1)
    scale = _floored(cells, scaled_mad(apart) * np.sqrt(apart.size / size))
    mean[rows] = centres + reined(apart, scale, size)
    return mean


def _tamed_overall(cells: Cells) -> Floats:
    weights = 1.0 / np.bincount(cells.clinic)[cells.clinic]
    centre = weighted_median(cells.mean, weights)
    apart = cells.mean - centre
    scale = _floored(cells, MAD_TO_SD * weighted_median(np.abs(apart), weights))
    return centre + reined(apart, scale, cells.clinics)


def _floored(cells: Cells, scale: float) -> float:
    """Spread cannot be told apart below the noise of the means themselves."""
    return max(scale, float(np.sqrt(np.mean(cells.doubt))))
