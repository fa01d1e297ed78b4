"""Units measured at clinics: the table every precision figure is worked out from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import MAD_TO_SD, Floats, reined
from registry.statistics.stacks import Stack, middle, weighted_middle

Codes = NDArray[np.intp]

# What makes a standard deviation of the median distance of a normal sample's values from their own median, by
# its size; of odd samples without the median itself. Found by 1.6 million simulated values a size.
_ODD_TO_SD = (3.0, 5.0, 9.0, 21.0, 101.0), (1.451, 1.459, 1.468, 1.476, MAD_TO_SD)
_EVEN_TO_SD = (
    (4.0, 6.0, 8.0, 10.0, 12.0, 20.0, 30.0, 100.0),
    (2.057, 1.898, 1.775, 1.701, 1.656, 1.576, 1.543, 1.505),
)


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


def stacked(tables: Sequence[Cells]) -> Stack:
    """Tables of one design side by side."""
    repeats = (table.repeat_variance for table in tables)
    return Stack(
        unit=tables[0].unit,
        clinic=tables[0].clinic,
        mean=np.array([table.mean for table in tables]),
        runs=np.array([table.runs for table in tables]),
        systematic=np.array([table.systematic for table in tables]),
        random=np.array([table.random for table in tables]),
        repeat=np.array([np.nan if repeat is None else repeat for repeat in repeats]),
    )


def tamed(cells: Cells) -> Cells:
    """The same table with wild means reined in (see `tamed_means`)."""
    return replace(cells, mean=tamed_means(stacked([cells]))[0])


def tamed_means(stack: Stack) -> Floats:
    """The means with wild ones reined in: first units within their clinic, then against them all.

    The first step needs three units at a clinic, and shares one scale over all clinics; the second weighs
    clinics alike, and counts the clinics as its sample size, since a clinic's units lean the same way.
    """
    return _tamed_overall(stack.with_means(_tamed_within(stack)))


def _tamed_within(stack: Stack) -> Floats:
    crowded = np.bincount(stack.clinic) >= 3
    if not crowded.any():
        return stack.mean
    mean = stack.mean.copy()
    centres = np.zeros_like(mean)
    for clinic in np.flatnonzero(crowded):
        own = stack.clinic == clinic
        centres[:, own] = middle(mean[:, own])
    rows = crowded[stack.clinic]
    apart = (mean - centres)[:, rows]
    # Each clinic's own median uses up one deviation.
    size = int(apart.shape[1] - crowded.sum() + 1)
    scale = _scale_within(apart, np.bincount(stack.clinic)[stack.clinic[rows]])
    mean[:, rows] = centres[:, rows] + reined(apart, _floored(stack, scale), size)
    return mean


def _scale_within(apart: Floats, crowd: Codes) -> Floats:
    """The scale of deviations from medians of groups, one a table; `crowd` is the size of each row's group.

    A group of few lies closer about its own median than about the centre. In one of odd size a value is that
    median, whose deviation of nought says nothing and is left out; in one of even size two lie as near to it
    as each other. Without allowing for that, a third of communities of four clinics with three sound units
    each would have one of them taken for wild.
    """
    odd = crowd % 2 == 1
    to_sd = np.where(odd, np.interp(crowd, *_ODD_TO_SD), np.interp(crowd, *_EVEN_TO_SD))
    medians = round(float(np.sum(1.0 / crowd[odd])))
    return middle(np.sort(np.abs(apart) * to_sd, axis=1)[:, medians:])


def _tamed_overall(stack: Stack) -> Floats:
    weights = 1.0 / np.bincount(stack.clinic)[stack.clinic]
    centre = weighted_middle(stack.mean, weights)
    apart = stack.mean - centre
    scale = _floored(stack, MAD_TO_SD * weighted_middle(np.abs(apart), weights))
    kept: Floats = centre + reined(apart, scale, int(stack.clinic.max()) + 1)
    return kept


def _floored(stack: Stack, scale: Floats) -> Floats:
    """Spread cannot be told apart below the noise of the means themselves."""
    floored: Floats = np.maximum(scale, np.sqrt(np.mean(stack.doubt, axis=1, keepdims=True)))
    return floored
