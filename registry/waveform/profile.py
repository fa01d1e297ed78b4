"""One low-noise cycle out of many: samples folded on their cycle, then smoothed without rounding corners.

A maximum of noisy samples reads high and a smoothed one reads low. Folding gives many samples at each phase;
for each phase the widest one-sided line that still agrees with all narrower ones is kept (intersection of
confidence intervals, after Goldenshluger and Nemirovski 1997), so plateaus are averaged whole and corners,
where one side bends away, are approached from the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import kernels
from .types import Flags, Floats

Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Fold:
    """Samples of some cycles laid over each other: `at` seconds into the common cycle, `cycle` their number.

    Each cycle is stretched in two pieces, rise to fall and fall to rise, onto the mean `width` and `period`.
    """

    at: Floats
    vacuum: Floats
    cycle: Indices
    width: float
    period: float
    count: int


@dataclass(frozen=True, eq=False)
class Profile:
    """The common cycle in bins at rising times `at` (0 is the rising crossing).

    `raw` is the mean of each bin and `weight` one over its variance; `level`, `slope` and their standard
    errors are smoothed. `place` is the bin of every folded sample.
    """

    at: Floats
    raw: Floats
    weight: Floats
    level: Floats
    error: Floats
    slope: Floats
    slope_error: Floats
    period: float
    place: Indices


def fold(seconds: Floats, vacuum: Floats, rise: Floats, fall: Floats, use: Flags) -> Fold:
    """Lay the cycles marked in `use` over each other; k runs rise[k]..rise[k+1] and turns at fall[k]."""
    return Fold(*kernels.folding.lay(seconds, vacuum, rise, fall, use), int(np.count_nonzero(use)))


def bins_for(samples: int) -> int:
    """How many bins serve that many folded samples."""
    return min(max(samples // 6, 48), 320)


def rough(folded: Fold) -> Profile:
    """A quick profile, good enough to move crossings by: means of three bins, and the slope between them."""
    bins = bins_for(folded.at.size) // 2
    place, count, at, raw = kernels.folding.binned(folded.at, folded.vacuum, folded.period, bins)
    level, slope = kernels.folding.rough(at, raw, count, folded.period)
    even = np.ones(level.size)
    return Profile(at, raw, count, level, even, slope, even, folded.period, place)


def smooth(folded: Fold, floor: float) -> Profile:
    """The profile of folded samples. `floor` is the least standard deviation a sample can have, in mmHg."""
    bins = bins_for(folded.at.size)
    place, count, at, raw = kernels.folding.binned(folded.at, folded.vacuum, folded.period, bins)
    weight = kernels.smoothing.weights(folded.at, folded.vacuum, place, at, raw, count, floor)
    lines = kernels.smoothing.local_lines(at, raw, weight, folded.period)
    return Profile(at, raw, weight, *lines, folded.period, place)
