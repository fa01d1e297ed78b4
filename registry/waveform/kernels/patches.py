"""Parabolas fitted over windows of a folded cycle, and the widest that serves, see `patches`."""

from math import sqrt

import numpy as np

from registry.waveform.compiled import Indices, Rows, compiled
from registry.waveform.types import Floats

REACHES = np.array([0, 2, 4, 7, 12, 20, 34, 58, 96])
FEWEST = 6  # bins a parabola and its test need
EXTRA_TERMS = 4.0  # improvement of chi-square by two more terms that noise can explain
EXCESS = 2.5  # standard deviations of chi-square allowed for the parabola itself
TERMS = 15  # sums kept of a window: w x^k (0..8), w x^k y (0..4), w y^2


@compiled
def add_terms(sums: Floats, x: float, y: float, weight: float) -> None:
    """Add one bin to the sums of a window."""
    power = weight
    for order in range(9):
        sums[order] += power
        if order < 5:
            sums[9 + order] += power * y
        power *= x
    sums[14] += weight * y * y


@compiled
def reach_sums(
    at: Floats,
    level: Floats,
    weight: Floats,
    smooth: Floats,
    start: int,
    side: int,
    limits: tuple[float, float],
) -> tuple[Rows, Floats]:
    """(sums of bins up to each reach, offset in s of the bin there) to one side of bin `start`.

    There is a row for each reach that lies within the depth of the start. `limits` is (period, depth). Summed
    outward, so that a narrow window keeps its precision beside a wide one. The right side (1) counts the
    start itself.
    """
    period, depth = limits
    size = at.size
    furthest = min(REACHES[-1], (size - 1) // 2)
    rows, ends = np.zeros((REACHES.size, TERMS)), np.zeros(REACHES.size)
    sums = np.zeros(TERMS)
    reached = 0
    for step in range(furthest + 1):
        index = start + side * step
        lap = index // size
        place = index - lap * size
        if step > 0 and not abs(smooth[place] - smooth[start]) < depth:
            break
        offset = at[place] + lap * period - at[start]
        if step > 0 or side > 0:
            add_terms(sums, offset / period, level[place] - level[start], weight[place])
        if step == REACHES[reached]:
            rows[reached], ends[reached] = sums, offset
            reached += 1
    return rows[:reached], ends[:reached]


@compiled
def normal_of(sums: Floats, terms: int) -> tuple[Rows, Floats, Floats]:
    """(normal matrix with unit diagonal, right side, one over roots of the diagonal) of a fit."""
    size, right = np.empty(terms), np.empty(terms)
    for one in range(terms):
        size[one] = 1.0 / sqrt(max(sums[2 * one], 1e-300))
        right[one] = sums[9 + one] * size[one]
    normal = np.empty((terms, terms))
    for one in range(terms):
        for two in range(terms):
            normal[one, two] = sums[one + two] * (size[one] * size[two])
        normal[one, one] += 1e-12
    return normal, right, size


@compiled
def bring_pivot(matrix: Rows, right: Floats, step: int) -> None:
    """Exchange row `step` for the one at or under it that is largest in that column."""
    pivot = step
    for row in range(step + 1, right.size):
        if abs(matrix[row, step]) > abs(matrix[pivot, step]):
            pivot = row
    if pivot != step:
        for column in range(step, right.size):
            matrix[step, column], matrix[pivot, column] = matrix[pivot, column], matrix[step, column]
        right[step], right[pivot] = right[pivot], right[step]


@compiled
def solve(matrix: Rows, right: Floats) -> bool:
    """Solve in place by elimination with row pivots: `right` becomes the solution. False when singular."""
    size = right.size
    for step in range(size):
        bring_pivot(matrix, right, step)
        if not abs(matrix[step, step]) > 0:
            return False
        for row in range(step + 1, size):
            factor = matrix[row, step] / matrix[step, step]
            for column in range(step + 1, size):
                matrix[row, column] -= factor * matrix[step, column]
            right[row] -= factor * right[step]
    for step in range(size - 1, -1, -1):
        for column in range(step + 1, size):
            right[step] -= matrix[step, column] * right[column]
        right[step] /= matrix[step, step]
    return True


@compiled
def quartic(sums: Floats, found: Floats) -> float:
    """Sum of squares that a polynomial of fourth order explains; its five coefficients go to `found`.

    NaN where there is none.
    """
    normal, right, size = normal_of(sums, 5)
    found[:] = right
    if not solve(normal, found):
        return np.nan
    explained = 0.0
    for term in range(5):
        explained += found[term] * right[term]
        found[term] *= size[term]
    return explained


@compiled
def parabola(sums: Floats, found: Floats) -> float:
    """Sum of squares that a parabola explains, by cofactors.

    Its coefficients and their covariance (00, 01, 02, 11, 12, 22) go to `found`.
    """
    normal, right, size = normal_of(sums, 3)
    a, b, c = normal[0, 0], normal[0, 1], normal[0, 2]
    d, e, f = normal[1, 1], normal[1, 2], normal[2, 2]
    aa, ab, ac = d * f - e * e, c * e - b * f, b * e - c * d
    bb, bc, cc = a * f - c * c, b * c - a * e, a * d - b * b
    whole = a * aa + b * ab + c * ac
    aa, ab, ac, bb, bc, cc = aa / whole, ab / whole, ac / whole, bb / whole, bc / whole, cc / whole
    one = aa * right[0] + ab * right[1] + ac * right[2]
    two = ab * right[0] + bb * right[1] + bc * right[2]
    three = ac * right[0] + bc * right[1] + cc * right[2]
    found[0], found[1], found[2] = one * size[0], two * size[1], three * size[2]
    found[3], found[4], found[5] = aa * size[0] * size[0], ab * size[0] * size[1], ac * size[0] * size[2]
    found[6], found[7], found[8] = bb * size[1] * size[1], bc * size[1] * size[2], cc * size[2] * size[2]
    return float(one * right[0] + two * right[1] + three * right[2])


@compiled
def serves(sums: Floats, bins: int, patch: Floats, bent: Floats) -> bool:
    """Whether a window's parabola leaves what noise would, and two more terms take off no more than noise.

    `patch` and `bent` take the coefficients of the parabola and of the polynomial of fourth order.
    """
    explained = parabola(sums, patch)
    freedom = bins - 3.0
    if not sums[14] - explained < freedom + EXCESS * sqrt(2 * freedom):
        return False
    return quartic(sums, bent) - explained < EXTRA_TERMS


@compiled
def best_window(
    left: Rows, left_ends: Floats, right: Rows, right_ends: Floats, period: float, best: Floats
) -> bool:
    """Put the heaviest patch into `best`: coefficients, covariance, ends. False where no window serves.

    Reaches left and right are alike in size, or one side stays close to the point.
    """
    patch, bent = np.empty(11), np.empty(5)
    found, most = False, 0.0
    for two in range(right_ends.size):
        for one in range(left_ends.size):
            bins = REACHES[one] + REACHES[two] + 1
            if bins < FEWEST or (abs(one - two) > 1 and min(one, two) > 1):
                continue
            sums = left[one] + right[two]
            if sums[0] <= most or not serves(sums, bins, patch, bent):
                continue
            found, most = True, sums[0]
            patch[9], patch[10] = left_ends[one] / period, right_ends[two] / period
            best[:] = patch
    return found


@compiled
def in_seconds(patch: Floats, period: float) -> None:
    """Turn a patch from periods to seconds, in place."""
    for entry, power in ((1, 1), (2, 2), (4, 1), (5, 2), (6, 2), (7, 3), (8, 4)):
        patch[entry] /= period**power
    for entry in (9, 10):
        patch[entry] *= period


@compiled
def fit_patches(
    at: Floats, level: Floats, weight: Floats, smooth: Floats, starts: Indices, limits: tuple[float, float]
) -> tuple[Rows, Indices]:
    """(patch for each of the bins `starts`, 1 where there is one), over bins within the depth of it.

    A row holds c0, c1, c2 (mmHg and s), their covariance (00, 01, 02, 11, 12, 22), first and last x. `limits`
    is (period, depth).
    """
    patches, served = np.zeros((starts.size, 11)), np.zeros(starts.size, dtype=np.intp)
    for number in range(starts.size):
        start = starts[number]
        left, left_ends = reach_sums(at, level, weight, smooth, start, -1, limits)
        right, right_ends = reach_sums(at, level, weight, smooth, start, 1, limits)
        row = patches[number]
        if best_window(left, left_ends, right, right_ends, limits[0], row):
            served[number] = 1
            in_seconds(row, limits[0])
    return patches, served
