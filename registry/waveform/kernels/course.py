"""How a trace goes on from its start to its end: slopes and steps over cycles."""

from math import isfinite, nan, sqrt

import numpy as np

from registry.waveform.compiled import compiled
from registry.waveform.types import Floats

from .order import dot, median, moments


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
def best_split(values: Floats, least: int) -> tuple[int, float, float, float]:
    """(first index after, mean before, mean after, sum of squares explained) of the best step in the values.

    At least `least` values lie on either side.
    """
    total, whole = 0.0, values.sum()
    found, low, high, most = 0, nan, nan, -1.0
    for index in range(values.size - least):
        total += values[index]
        split = index + 1
        if split < least:
            continue
        before, after = total / split, (whole - total) / (values.size - split)
        gain = split * (values.size - split) / values.size * (after - before) ** 2
        if gain > most:
            found, low, high, most = split, before, after, gain
    return found, low, high, most


@compiled
def best_step(values: Floats, least: int) -> tuple[int, float, float]:
    """(first index after, mean before, mean after) of the step that explains most; index 0 where none does.

    None does when a straight line explains the values about as well, when the step is within the scatter, or
    when the values about it do not leap but grow into each other, as those of a pump that settles do.
    """
    count = values.size
    if count < 2 * least or not isfinite(values.sum()):
        return 0, nan, nan
    at, before, after, gain = best_split(values, least)
    left = moments(values)[1] - gain
    _, _, off = line(np.arange(count).astype(np.float64), values)
    if left > 0.5 * dot(off, off) or gain <= 25 * left / max(count - 2, 1):
        return 0, nan, nan
    leap = median(values[at : at + 3]) - median(values[at - 3 : at])
    return (at, before, after) if leap / (after - before) > 0.75 else (0, nan, nan)
