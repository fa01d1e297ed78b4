"""The high and the low level of a folded cycle, free of noise bias.

About the highest point, parabolas are fitted over windows of many left and right reaches. A window serves
when terms of third and fourth order add nothing to the fit that noise would not; the widest such window
gives the level. A plateau is thus averaged whole, a dome is followed, and a corner ends the window.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .types import Flags, Floats

REACHES = np.array([0, 1, 2, 3, 5, 7, 10, 14, 20, 29, 42, 61, 88, 128])
EXTRA_TERMS = 5.0  # improvement of chi-square by two more terms that noise can explain
EXCESS = 2.5  # standard deviations of chi-square allowed for the parabola itself


@dataclass(frozen=True)
class Level:
    """An extreme level, its standard error from noise, and the seconds into the cycle where it lies."""

    value: float
    error: float
    at: float


def highest(at: Floats, level: Floats, weight: Floats, start: int, period: float, depth: float) -> Level:
    """The highest level near bin `start`; only bins no lower than `depth` under that one are looked at."""
    furthest = min(int(REACHES[-1]), at.size // 2)
    index = start + np.arange(-furthest, furthest + 1)
    lap = np.floor_divide(index, at.size)
    place = index - lap * at.size
    offset = at[place] + lap * period - at[start]
    scale = float(np.abs(offset).max())
    near = level[place] - level[start] > -depth
    lefts, rights = _reaches(near[:furthest][::-1]), _reaches(near[furthest + 1 :])
    if lefts[-1] + rights[-1] < 4:
        return Level(float(level[start]), float(1 / np.sqrt(weight[start])), float(at[start]))
    sums, counts = _window_sums(offset / scale, level[place] - level[start], weight[place], lefts, rights)
    fits, chosen, covariance = _widest_parabola(sums, counts)
    first, last = divmod(chosen, rights.size)
    inside = offset[furthest - lefts[first] : furthest + rights[last] + 1] / scale
    value, x = _top_of(fits, float(inside[0]), float(inside[-1]))
    terms = np.array([1.0, x, x * x])
    error = float(np.sqrt(terms @ covariance @ terms))
    return Level(float(level[start]) + value, error, float(at[start]) + x * scale)


def _reaches(near: Flags) -> NDArray[np.intp]:
    """The reaches that stay within the first unbroken run of near bins."""
    free = near.size if near.all() else int(np.argmin(near))
    return REACHES[free >= REACHES]


def _window_sums(
    x: Floats, y: Floats, weight: Floats, lefts: NDArray[np.intp], rights: NDArray[np.intp]
) -> tuple[Floats, Floats]:
    """Sums of w x^k (0..8), w x^k y (0..4), w y^2 and bin counts for all pairs of left and right reach.

    Summed outward from the centre, so that a narrow window keeps its precision beside a wide one.
    """
    powers = np.empty((15, x.size))
    powers[0] = weight
    for order in range(1, 9):
        powers[order] = powers[order - 1] * x
    powers[9:14] = powers[:5] * y
    powers[14] = weight * y * y
    middle = x.size // 2
    left = np.zeros((15, middle + 1))
    np.cumsum(powers[:, middle - 1 :: -1] if middle else powers[:, :0], axis=1, out=left[:, 1:])
    right = np.cumsum(powers[:, middle:], axis=1)
    sums = left[:, lefts][:, :, None] + right[:, rights][:, None, :]
    counts = (lefts[:, None] + rights[None, :] + 1).astype(np.float64)
    return sums.reshape(15, -1), counts.ravel()


def _solve(sums: Floats, order: int) -> tuple[Floats, Floats, Floats]:
    """(coefficients, inverse normal matrix, explained sum of squares) of polynomial fits in all windows."""
    terms = np.arange(order + 1)
    normal = np.moveaxis(sums[terms[:, None] + terms], -1, 0)
    right = sums[9 : 10 + order].T
    size = np.sqrt(np.maximum(np.diagonal(normal, axis1=1, axis2=2), 1e-300))
    balanced = normal / (size[:, :, None] * size[:, None, :])
    balanced[:, terms, terms] += 1e-11
    inverse = np.linalg.inv(balanced) / (size[:, :, None] * size[:, None, :])
    coefficients = np.einsum("kij,kj->ki", inverse, right)
    return coefficients, inverse, np.einsum("ki,ki->k", coefficients, right)


def _widest_parabola(sums: Floats, counts: Floats) -> tuple[Floats, int, Floats]:
    """(coefficients, number of the window, covariance) of the widest window a parabola serves.

    Where it serves nowhere (a trace without noise), of the best fit among the narrowest.
    """
    wide = np.flatnonzero(counts >= 5)
    sums, counts = sums[:, wide], counts[wide]
    parabola, covariance, explained = _solve(sums, 2)
    _, _, more = _solve(sums, 4)
    left_over = sums[14] - explained
    freedom = counts - 3.0
    serves: Flags = (more - explained < EXTRA_TERMS) & (left_over < freedom + EXCESS * np.sqrt(2 * freedom))
    if serves.any():
        chosen = int(np.argmax(np.where(serves, sums[0], 0.0)))
    else:
        chosen = int(np.argmin(np.where(counts == counts.min(), left_over, np.inf)))
    return parabola[chosen], int(wide[chosen]), covariance[chosen]


def _top_of(parabola: Floats, first: float, last: float) -> tuple[float, float]:
    """(highest value, where) of a parabola between two ends."""
    constant, linear, square = (float(term) for term in parabola)
    candidates = [first, last]
    if square < 0 and first < -linear / (2 * square) < last:
        candidates = [-linear / (2 * square)]
    return max((constant + linear * x + square * x * x, x) for x in candidates)
