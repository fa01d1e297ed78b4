"""A histogram people can read: bins of equal, round width."""

from dataclasses import dataclass
from math import ceil, floor, log2, log10

import numpy as np
from numpy.typing import ArrayLike

from registry.statistics.robust import between_ranks

_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)
_MOST_BINS = 30
# A share of a width, and the least there is to tell apart in any unit.
_ROUNDING, _LEAST = 1e-9, 1e-9


@dataclass(frozen=True)
class Histogram:
    """`edges` is one longer than `counts`; values on an edge count to its right, on the last to its left."""

    edges: tuple[float, ...]
    counts: tuple[int, ...]


def histogram(values: ArrayLike) -> Histogram:
    """Count values in bins of a round width (1, 2, 2.5 or 5 times a power of ten) on round edges.

    The width follows Freedman and Diaconis (2 IQR over the cube root of how many), and Sturges where half
    the values are equal; there are 30 bins at most. Equal values make one bin; none make no bin at all.
    Source: D. Freedman, P. Diaconis, Z. Wahrscheinlichkeitstheorie verw. Gebiete 57 (1981) 453 (from memory).
    """
    x = np.asarray(values, float)
    if not x.size:
        return Histogram((), ())
    low, high = float(x.min()), float(x.max())
    width = _round_up(_width(x))
    # Rounding puts a value that lies on an edge on either side of it, so it is counted by whole widths.
    first, last = floor(low / width + _ROUNDING), ceil(high / width - _ROUNDING)
    bins = max(last - first, 1)
    place = np.clip(np.floor(x / width + _ROUNDING).astype(int) - first, 0, bins - 1)
    counts = np.bincount(place, minlength=bins)
    edges = (float(f"{(first + k) * width:.12g}") for k in range(bins + 1))
    return Histogram(tuple(edges), tuple(counts.tolist()))


def _width(x: np.ndarray) -> float:
    spread = float(np.ptp(x))
    size = float(np.abs(x).max())
    if spread <= max(1e-9 * size, _LEAST):
        return max(size / 100, _LEAST)
    ranked = np.sort(x)
    first, third = (between_ranks(ranked, p * (x.size - 1)) for p in (0.25, 0.75))
    by_quarters = 2 * (third - first) / x.size ** (1 / 3)
    by_number = spread / (log2(x.size) + 1)
    return max(by_quarters if by_quarters > 1e-9 * spread else float(by_number), spread / (_MOST_BINS - 2))


def _round_up(width: float) -> float:
    power = 10.0 ** floor(log10(width))
    return next(step * power for step in _ROUND if step * power >= width * (1 - 1e-9))
