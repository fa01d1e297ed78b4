"""The common cycle smoothed without rounding corners, see `profile`."""

from math import sqrt

import numpy as np

from registry.waveform.compiled import Indices, Rows, compiled
from registry.waveform.types import Floats

from .order import median

AGREEMENT = 2.0  # half-width of the compared intervals, in standard errors
WINDOWS = np.array([3, 5, 8, 13, 22, 36, 60, 100])
AROUND = 3  # bins on either side over which the scatter of samples is pooled
UNKNOWN = 1e300  # variance of what nothing is known of


@compiled
def gradient(at: Floats, level: Floats) -> Floats:
    """Slope at each of the points, of second order inside; zeros for fewer than three."""
    size = at.size
    slope = np.zeros(size)
    if size < 3:
        return slope
    slope[0] = (level[1] - level[0]) / (at[1] - at[0])
    slope[-1] = (level[-1] - level[-2]) / (at[-1] - at[-2])
    for here in range(1, size - 1):
        left, right = at[here] - at[here - 1], at[here + 1] - at[here]
        before, after = level[here] - level[here - 1], level[here + 1] - level[here]
        slope[here] = (before * right / left + after * left / right) / (left + right)
    return slope


@compiled
def own_scatter(
    times: Floats, vacuum: Floats, place: Indices, at: Floats, level: Floats, count: Floats
) -> Floats:
    """Sum of squares of the samples in each bin about its mean, less what the profile's slope makes there."""
    square, spread = np.zeros(at.size), np.zeros(at.size)
    for index in range(times.size):
        cell = place[index]
        square[cell] += (vacuum[index] - level[cell]) ** 2
        spread[cell] += (times[index] - at[cell]) ** 2
    slope = gradient(at, level)
    for cell in range(at.size):
        inside = slope[cell] * slope[cell] * (spread[cell] / count[cell])
        square[cell] = max(square[cell] / count[cell] - inside, 0.0) * count[cell]
    return square


@compiled
def pooled(excess: Floats, count: Floats, floor: float) -> Floats:
    """Variance of a single sample near each bin, pooled over seven bins.

    Never under floor**2 nor far under what is usual: taking off the slope's part can leave nothing by chance.
    """
    size = count.size
    variance = np.empty(size)
    for here in range(size):
        total, freedom = 0.0, 0.0
        for there in range(here - AROUND, here + AROUND + 1):
            total += excess[there % size]
            freedom += max(count[there % size] - 1.0, 0.0)
        variance[here] = total / max(freedom, 1.0)
    return np.maximum(variance, max(floor * floor, 0.3 * median(variance)))


@compiled
def weights(
    times: Floats, vacuum: Floats, place: Indices, at: Floats, level: Floats, count: Floats, floor: float
) -> Floats:
    """One over the variance of each bin's mean. `floor` is a sample's least standard deviation, in mmHg."""
    return count / pooled(own_scatter(times, vacuum, place, at, level, count), count, floor)


@compiled
def running_sums(at: Floats, level: Floats, weight: Floats, period: float, reach: int) -> Rows:
    """Rows of w, wx, wxx, wy, wxy summed from `reach` bins before the cycle to as many after, from 0."""
    size = at.size
    sums = np.zeros((size + 2 * reach + 1, 5))
    for row in range(size + 2 * reach):
        turn = period if row >= reach + size else (-period if row < reach else 0.0)
        cell = (row - reach) % size
        x, y, w = at[cell] + turn, level[cell], weight[cell]
        sums[row + 1, 0] = sums[row, 0] + w
        sums[row + 1, 1] = sums[row, 1] + w * x
        sums[row + 1, 2] = sums[row, 2] + w * x * x
        sums[row + 1, 3] = sums[row, 3] + w * y
        sums[row + 1, 4] = sums[row, 4] + w * x * y
    return sums


@compiled
def window_line(
    sums: Rows, first: int, last: int, at: float, least: float
) -> tuple[float, float, float, float]:
    """(level at a point, its variance, slope, its variance) of the line over some rows of running sums.

    `least` times the weight is the smallest spread of the times that counts.
    """
    w, x = sums[last, 0] - sums[first, 0], sums[last, 1] - sums[first, 1]
    xx, y = sums[last, 2] - sums[first, 2], sums[last, 3] - sums[first, 3]
    xy = sums[last, 4] - sums[first, 4]
    mean = x / w
    spread = max(xx - x * mean, least * w)
    slope, away = (xy - y * mean) / spread, at - mean
    return y / w + slope * away, 1.0 / w + away * away / spread, slope, 1.0 / spread


@compiled
def widest_agreeing(
    sums: Rows, centre: int, side: int, windows: int, start: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    """(level, its variance, slope, its variance) at a bin, from the widest window that agrees with others.

    Windows reach to the left (`side` -1) or right (1) of row `centre`. `start` is the bin's own time, level
    and variance, and the smallest spread.
    """
    at, level, variance, least = start
    half = AGREEMENT * sqrt(variance)
    lowest, highest = level + half, level - half
    slope, slope_variance = 0.0, UNKNOWN
    for number in range(windows):
        size = WINDOWS[number]
        first = centre - size + 1 if side < 0 else centre
        found = window_line(sums, first, first + size, at, least)
        half = AGREEMENT * sqrt(found[1])
        lowest, highest = min(lowest, found[0] + half), max(highest, found[0] - half)
        agrees = highest <= lowest
        if agrees or number == 0:
            slope, slope_variance = found[2], found[3]
        if not agrees:
            break
        level, variance = found[0], found[1]
    return level, variance, slope, slope_variance


@compiled
def local_lines(
    at: Floats, level: Floats, weight: Floats, period: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """(level, error, slope, error): estimates from the left and the right, joined by their precision."""
    size = at.size
    windows = 1
    while windows < WINDOWS.size and WINDOWS[windows] <= size // 3:
        windows += 1
    if WINDOWS[windows - 1] >= size:
        windows = 0
    reach = WINDOWS[windows - 1] if windows else 0
    sums = running_sums(at, level, weight, period, reach)
    least = 1e-9 * (at[size - 1] / size) ** 2
    joined = np.empty((4, size))
    for here in range(size):
        start = (at[here], level[here], 1.0 / weight[here], least)
        one = widest_agreeing(sums, reach + here, -1, windows, start)
        two = widest_agreeing(sums, reach + here, 1, windows, start)
        joint, slope_joint = 1.0 / (1.0 / one[1] + 1.0 / two[1]), 1.0 / (1.0 / one[3] + 1.0 / two[3])
        joined[0, here] = joint * (one[0] / one[1] + two[0] / two[1])
        joined[1, here] = sqrt(joint)
        joined[2, here] = slope_joint * (one[2] / one[3] + two[2] / two[3])
        joined[3, here] = sqrt(slope_joint)
    return joined[0], joined[1], joined[2], joined[3]
