"""Parabolas fitted to stretches of a folded cycle, each as wide as the cycle's own form allows.

About a point, parabolas are fitted over windows of many left and right reaches. A window serves when terms of
third and fourth order add nothing to the fit that noise would not; the widest such window is taken. A plateau
is thus averaged whole, a dome or a flank is followed, and a corner ends the window. Values read from a patch
are free of the bias that a maximum over noisy points or a fixed smoothing has.
"""

from dataclasses import dataclass
from math import copysign, sqrt

import numpy as np
from numpy.typing import NDArray

from .types import Flags, Floats

Indices = NDArray[np.intp]

REACHES = np.array([0, 2, 4, 7, 12, 20, 34, 58, 96])
FEWEST = 6  # bins a parabola and its test need
EXTRA_TERMS = 4.0  # improvement of chi-square by two more terms that noise can explain
EXCESS = 2.5  # standard deviations of chi-square allowed for the parabola itself
# A form that noise hides can still bend a patch by about as much as noise: found by replay on traces of known
# truth (tests/waveform/trial.py), not from a published source.
MISFIT = 1.5
BEND = 1.0  # share of what two more terms would change at an extreme that counts against its window


def _pairs() -> tuple[Indices, Indices]:
    """Left and right reaches tried together: alike in size, or one side close to the point."""
    left, right = (grid.ravel() for grid in np.meshgrid(np.arange(REACHES.size), np.arange(REACHES.size)))
    keep = (np.abs(left - right) <= 1) | (np.minimum(left, right) <= 1)
    keep &= REACHES[left] + REACHES[right] + 1 >= FEWEST
    return left[keep], right[keep]


LEFT, RIGHT = _pairs()
TRIANGLE = np.triu_indices(3)
COUNTS = (REACHES[LEFT] + REACHES[RIGHT] + 1).astype(np.float64)


@dataclass(frozen=True, eq=False)
class Patch:
    """A parabola `level + c0 + c1 x + c2 x^2`, x in s from `at`, fitted over x in `first`..`last`.

    `covariance` holds that of the coefficients as (00, 01, 02, 11, 12, 22); `top` is the x of the extreme
    that was asked for, else 0.
    """

    at: float
    level: float
    coefficients: tuple[float, float, float]
    covariance: tuple[float, ...]
    first: float
    last: float
    top: float

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


def fit_patches(bins: Bins, starts: Indices, depth: float, signs: Indices) -> list[Patch | None]:
    """A patch about each of the bins `starts`, over bins within `depth` of it; None where none serves.

    The widest window that serves is taken, or, where `signs` is 1 (high) or -1 (low) and not 0, the one whose
    extreme is known best.
    """
    furthest = min(int(REACHES[-1]), (bins.at.size - 1) // 2)
    index = starts[:, None] + np.arange(-furthest, furthest + 1)
    lap = np.floor_divide(index, bins.at.size)
    place = index - lap * bins.at.size
    offset = bins.at[place] + lap * bins.period - bins.at[starts][:, None]
    near = np.abs(bins.smooth[place] - bins.smooth[starts][:, None]) < depth
    sums = _window_sums(
        offset / bins.period, bins.level[place] - bins.level[starts][:, None], bins.weight[place]
    )
    free = np.stack([_free(near[:, :furthest][:, ::-1]), _free(near[:, furthest + 1 :])])
    allowed = (REACHES[LEFT] <= free[0][:, None]) & (REACHES[RIGHT] <= free[1][:, None])
    return _choose(bins, starts, offset, sums, allowed, signs)


def _free(near: Flags) -> Indices:
    """How many bins in a row are near, from the first."""
    padded = np.concatenate([near, np.zeros((near.shape[0], 1), dtype=bool)], axis=1)
    return np.asarray(np.argmin(padded, axis=1))


def _window_sums(x: Floats, y: Floats, weight: Floats) -> Floats:
    """Sums of w x^k (0..8), w x^k y (0..4), w y^2 for each start and each pair of reaches.

    Summed outward from the centre, so that a narrow window keeps its precision beside a wide one.
    """
    powers = np.empty((15, *x.shape))
    powers[0] = weight
    for order in range(1, 9):
        np.multiply(powers[order - 1], x, out=powers[order])
    np.multiply(powers[:5], y, out=powers[9:14])
    np.multiply(powers[9], y, out=powers[14])
    middle = x.shape[1] // 2
    reaches = np.minimum(REACHES, middle)
    left = np.zeros((15, x.shape[0], middle + 1))
    np.cumsum(powers[:, :, :middle][:, :, ::-1], axis=2, out=left[:, :, 1:])
    right = np.cumsum(powers[:, :, middle:], axis=2)
    return np.asarray(left[:, :, reaches[LEFT]] + right[:, :, reaches[RIGHT]])


def _balanced(sums: Floats, order: int) -> tuple[Floats, Floats, Floats]:
    """(normal matrices with unit diagonal, right sides, square roots of the diagonals) of polynomial fits."""
    terms = np.arange(order + 1)
    size = 1.0 / np.sqrt(np.maximum(sums[2 * terms], 1e-300))
    normal = sums[terms[:, None] + terms] * (size[:, None] * size[None])
    normal[terms, terms] += 1e-12
    return normal, sums[9 : 10 + order] * size, size


def _quartics(sums: Floats) -> tuple[Floats, Floats]:
    """(coefficients, explained sums of squares) of polynomials of fourth order in all windows."""
    normal, right, size = _balanced(sums, 4)
    solution = np.linalg.solve(np.moveaxis(normal, -1, 0), right.T[:, :, None])[:, :, 0]
    return solution * size.T, np.einsum("ki,ik->k", solution, right)


def _parabolas(sums: Floats) -> tuple[Floats, Floats, Floats]:
    """(coefficients, inverse normal matrices, explained sums of squares) of parabolas, by cofactors."""
    (row_a, row_b, row_c), right, size = _balanced(sums, 2)
    (a, b, c), (_, d, e), f = row_a, row_b, row_c[2]
    inverse = np.empty((3, 3, a.size))
    inverse[0, 0], inverse[1, 1], inverse[2, 2] = d * f - e * e, a * f - c * c, a * d - b * b
    inverse[0, 1] = inverse[1, 0] = c * e - b * f
    inverse[0, 2] = inverse[2, 0] = b * e - c * d
    inverse[1, 2] = inverse[2, 1] = b * c - a * e
    inverse /= a * inverse[0, 0] + b * inverse[0, 1] + c * inverse[0, 2]
    solution = np.einsum("ijk,jk->ik", inverse, right)
    explained = np.einsum("ik,ik->k", solution, right)
    inverse *= size[:, None] * size[None]
    return (solution * size).T, np.moveaxis(inverse, -1, 0), explained


def _beyond(quartic: Floats, parabola: Floats, x: Floats) -> Floats:
    """How far polynomials of fourth order lie from the parabolas at x."""
    powers = x[:, None] ** np.arange(5)
    return np.asarray(np.abs((quartic * powers).sum(axis=1) - (parabola * powers[:, :3]).sum(axis=1)))


def _extremes(coefficients: Floats, covariance: Floats, ends: Floats, sign: Indices) -> tuple[Floats, Floats]:
    """(x, standard error there) of the highest (sign 1) or lowest (-1) point of parabolas between their ends.

    A parabola's ends are known least, so a point counts by its value less its standard error.
    """
    points = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * np.linspace(0.0, 1.0, 9)
    linear, square = coefficients[:, 1], coefficients[:, 2]
    vertex = -linear / np.where(square == 0, np.inf, 2 * square)
    inside = (square != 0) & (vertex > ends[:, 0]) & (vertex < ends[:, 1])
    points[inside, 4] = vertex[inside]
    terms = np.stack([np.ones_like(points), points, points**2])
    variance = np.einsum("ikp,kij,jkp->kp", terms, covariance, terms, optimize=False)
    errors = MISFIT * np.sqrt(np.maximum(variance, 0.0))
    merit = sign[:, None] * np.einsum("ki,ikp->kp", coefficients, terms) - errors
    row, best = np.arange(points.shape[0]), np.argmax(merit, axis=1)
    return points[row, best], errors[row, best]


def _choose(
    bins: Bins, starts: Indices, offset: Floats, sums: Floats, allowed: Flags, signs: Indices
) -> list[Patch | None]:
    """The best window that serves, for each start."""
    which, pair = np.nonzero(allowed)
    flat = sums[:, which, pair]
    parabola, covariance, explained = _parabolas(flat)
    left_over, counts = flat[14] - explained, COUNTS[pair]
    freedom = counts - 3.0
    quartic, more = _quartics(flat)
    serves = np.flatnonzero(
        (more - explained < EXTRA_TERMS) & (left_over < freedom + EXCESS * np.sqrt(2 * freedom))
    )
    which, pair = which[serves], pair[serves]
    scale = np.array([1.0, bins.period, bins.period**2])
    parabola, covariance = parabola[serves] / scale, covariance[serves] / np.outer(scale, scale)
    middle = offset.shape[1] // 2
    places = (middle - REACHES[LEFT[pair]], middle + REACHES[RIGHT[pair]])
    ends = np.stack([offset[which, place] for place in places], axis=1)
    merit = flat[0, serves]
    level = np.flatnonzero(signs[which])
    tops = np.zeros(which.size)
    tops[level], errors = _extremes(parabola[level], covariance[level], ends[level], signs[which[level]])
    bent = _beyond(quartic[serves[level]], parabola[level] * scale, tops[level] / bins.period)
    merit[level] = 1.0 / np.maximum(np.hypot(errors, BEND * bent), 1e-300)
    bounds = np.searchsorted(which, np.arange(starts.size + 1))
    patches: list[Patch | None] = []
    for start, first, last in zip(starts, bounds[:-1], bounds[1:], strict=True):
        if first == last:
            patches.append(None)
            continue
        best = first + int(np.argmax(merit[first:last]))
        terms = tuple(covariance[best][TRIANGLE].tolist())
        centre = (float(bins.at[start]), float(bins.level[start]))
        found = (tuple(parabola[best].tolist()), terms, *ends[best].tolist(), float(tops[best]))
        patches.append(Patch(*centre, *found))
    return patches
