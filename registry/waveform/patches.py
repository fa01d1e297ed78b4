"""Parabolas fitted to stretches of a folded cycle, each as wide as the cycle's own form allows.

About a point, parabolas are fitted over windows of many left and right reaches. A window serves when terms
of third and fourth order add nothing to the fit that noise would not; the widest such window is taken. A
flank is thus followed as far as it bends evenly, and a corner ends the window.
"""

from dataclasses import dataclass
from math import copysign, sqrt

import numpy as np
from numpy.typing import NDArray

from . import kernels
from .types import Floats

Indices = NDArray[np.intp]
# A form that noise hides can still bend a patch by about as much as noise: found by replay on traces of known
# truth (tests/waveform/trial.py), not from a published source.
MISFIT = 1.5


@dataclass(frozen=True, eq=False)
class Patch:
    """A parabola `level + c0 + c1 x + c2 x^2`, x in s from `at`, fitted over x in `first`..`last`.

    `covariance` holds that of the coefficients as (00, 01, 02, 11, 12, 22).
    """

    at: float
    level: float
    coefficients: tuple[float, float, float]
    covariance: tuple[float, ...]
    first: float
    last: float

    def value(self, x: float) -> float:
        """The level at x."""
        constant, linear, square = self.coefficients
        return self.level + constant + x * (linear + x * square)

    def error(self, x: float) -> float:
        """Standard error of the level at x, from noise and from misfit that noise hides."""
        aa, ab, ac, bb, bc, cc = self.covariance
        variance = aa + x * (2 * ab + x * (bb + 2 * ac + x * (2 * bc + x * cc)))
        return MISFIT * sqrt(max(variance, 0.0))

    def slope(self, x: float) -> float:
        """Slope at x."""
        return self.coefficients[1] + 2 * self.coefficients[2] * x

    def slope_error(self, x: float) -> float:
        """Standard error of the slope at x, from noise and from misfit that noise hides."""
        _, _, _, bb, bc, cc = self.covariance
        return MISFIT * sqrt(max(bb + 4 * x * (bc + x * cc), 0.0))

    def crossing(self, level: float) -> float | None:
        """The x nearest 0 where the parabola meets a level, None when it does not near its window."""
        constant, linear, square = self.coefficients
        below = constant - (level - self.level)
        inside = linear * linear - 4 * square * below
        if inside < 0 or linear == 0:
            return None
        x = -2 * below / (linear + copysign(sqrt(inside), linear))
        slack = 0.25 * (self.last - self.first)
        return x if self.first - slack <= x <= self.last + slack else None


@dataclass(frozen=True, eq=False)
class Bins:
    """A folded cycle in bins: mean time, mean level, one over its variance, and a smoothed level."""

    at: Floats
    level: Floats
    weight: Floats
    smooth: Floats
    period: float


def fit_patches(bins: Bins, starts: Indices, depth: float) -> list[Patch | None]:
    """About each of the bins `starts` the widest patch that serves, within `depth` of it, or None."""
    limits = (bins.period, depth)
    rows, served = kernels.patches.fit_patches(bins.at, bins.level, bins.weight, bins.smooth, starts, limits)
    centres = zip(bins.at[starts].tolist(), bins.level[starts].tolist(), strict=True)
    found = zip(centres, rows.tolist(), served.tolist(), strict=True)
    return [
        Patch(*centre, (row[0], row[1], row[2]), tuple(row[3:9]), *row[9:]) if there else None
        for centre, row, there in found
    ]
