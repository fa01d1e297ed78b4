"""How a trace goes on from its start to its end: slopes and steps over cycles."""

from math import isfinite, sqrt

import numpy as np

from registry.waveform.compiled import Indices, compiled
from registry.waveform.types import Floats

from .order import dot, first_from, median, moments


@compiled
def line(at: Floats, values: Floats) -> tuple[float, float, Floats]:
    """(slope, sum of squares of the times about their mean, what is left of the values) of a line."""
    middle, square = moments(at)
    mean, _ = moments(values)
    cross = 0.0
    for index in range(at.size):
        cross += (at[index] - middle) * values[index]
    slope = cross / square
    left = np.empty(at.size)
    for index in range(at.size):
        left[index] = values[index] - mean - slope * (at[index] - middle)
    return slope, square, left


@compiled
def slope_of(at: Floats, values: Floats) -> tuple[float, float]:
    """(slope, its standard error) of a straight line through three points or more."""
    slope, square, left = line(at, values)
    return slope, sqrt(dot(left, left) / (at.size - 2) / square)


@compiled
def between_samples(
    at: Floats, cycle: Indices, place: Indices, bin_at: Floats, level: Floats, slope: Floats, period: float
) -> tuple[float, float]:
    """What trapezia between samples make of the common cycle beyond its own integral, mmHg s, and hidden.

    Samples lie `at` seconds into their `cycle`, in bin `place`. `hidden` (mmHg) is the standard uncertainty
    of the cycle's mean for what bends between its bins: a corner anywhere between two bins g apart, where the
    slope turns by s, is worth s g^2 / sqrt(720).
    """
    size = bin_at.size
    time, height, sums = np.empty(size + 2), np.empty(size + 2), np.zeros(size + 2)
    for knot in range(size + 2):
        turn = -period if knot == 0 else (period if knot > size else 0.0)
        time[knot], height[knot] = bin_at[(knot - 1) % size] + turn, level[(knot - 1) % size]
        if knot > 0:
            middle = 0.5 * (height[knot] + height[knot - 1])
            sums[knot] = sums[knot - 1] + (time[knot] - time[knot - 1]) * middle
    whole, square, over = sums[size + 1] - sums[1], 0.0, 0.0
    for knot in range(size):
        gap, turned = time[knot + 1] - time[knot], slope[knot] - slope[(knot - 1) % size]
        square += (turned * gap * gap) ** 2 / 720
    last, last_level, last_sum = 0.0, 0.0, 0.0
    for index in range(at.size):
        knot = place[index] + (1 if at[index] >= bin_at[place[index]] else 0)
        away = at[index] - time[knot]
        here = height[knot] + away * (height[knot + 1] - height[knot]) / (time[knot + 1] - time[knot])
        reached = sums[knot] + 0.5 * away * (height[knot] + here)
        laps = cycle[index] - cycle[index - 1] if index > 0 else 2
        if laps <= 1:
            over += 0.5 * (at[index] - last + laps * period) * (here + last_level)
            over -= reached - last_sum + laps * whole
        last, last_level, last_sum = at[index], here, reached
    return over, sqrt(square) / period


@compiled
def area(seconds: Floats, vacuum: Floats) -> float:
    """Integral of vacuum over time by trapezia, mmHg s."""
    total = 0.0
    for index in range(1, seconds.size):
        total += 0.5 * (seconds[index] - seconds[index - 1]) * (vacuum[index] + vacuum[index - 1])
    return total


@compiled
def runs(values: Floats) -> int:
    """Number of unbroken runs of finite values."""
    count, before = 0, False
    for value in values:
        here = isfinite(value)
        count += here and not before
        before = here
    return count


@compiled
def halves_apart(values: Floats) -> float:
    """How far the median of the second half lies from that of the first; the middle one counts for both."""
    half = (values.size + 1) // 2
    return median(values[values.size - half :]) - median(values[:half])


@compiled
def leap(values: Floats, at: int, reach: int) -> tuple[float, float, float]:
    """(median before, median from `at` on, what neither side's own course explains of the leap between).

    A course that goes on evenly, or dies down, explains as much as it moves within the two sides.
    """
    before = values[max(at - reach, 0) : at]
    after = values[at : at + reach]
    low, high = median(before), median(after)
    inner = abs(halves_apart(before)) + abs(halves_apart(after))
    return low, high, abs(high - low) - inner


@compiled
def steepest_near(values: Floats, at: int, up: float) -> int:
    """The place within two of `at` where values change most in the direction of `up`."""
    best = at
    for place in range(max(at - 2, 1), min(at + 3, values.size)):
        if up * (values[place] - values[place - 1]) > up * (values[best] - values[best - 1]):
            best = place
    return best


@compiled
def leaps(values: Floats, reach: int, fewest: int, share: float) -> tuple[Indices, Floats, Floats]:
    """(first after, level before, level after) of each place where values leap from one level to another.

    `fewest` values at least lie on either side. A leap is `share` of the larger level or more, most of it
    unexplained by the course of either side, and clear of how far neighbours differ. Of places nearer
    than `reach` the one is taken that leaves most unexplained.
    """
    count = values.size
    if count < 2 * fewest:
        return np.empty(0, dtype=np.intp), np.empty(0), np.empty(0)
    apart = np.abs(values[1:] - values[:-1])
    noise = 1.0483 * median(apart)
    found, before, after, strength = np.empty(count, dtype=np.intp), np.empty(count), np.empty(count), -1.0
    number = 0
    for at in range(fewest, count - fewest + 1):
        low, high, clear = leap(values, at, reach)
        step, least = abs(high - low), share * max(abs(low), abs(high))
        if step < max(least, 4.0 * noise) or clear < max(0.6 * step, 0.75 * least):
            continue
        near = number > 0 and at - found[number - 1] < reach
        if near and clear <= strength:
            continue
        number += 0 if near else 1
        found[number - 1], before[number - 1], after[number - 1], strength = at, low, high, clear
    for place in range(number):
        found[place] = steepest_near(values, found[place], after[place] - before[place])
    return found[:number], before[:number], after[:number]


@compiled
def means_between(seconds: Floats, vacuum: Floats, start: Floats, end: Floats) -> Floats:
    """Mean vacuum from each start to its end; the nearest sample where none lies between."""
    means = np.empty(start.size)
    for number in range(start.size):
        first = min(first_from(seconds, start[number]), seconds.size - 1)
        last = min(max(first_from(seconds, end[number]), first + 1), seconds.size)
        means[number] = vacuum[first:last].mean()
    return means
