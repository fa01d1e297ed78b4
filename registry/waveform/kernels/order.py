"""Order statistics, places in sorted arrays, and moments."""

from math import nan, sqrt

import numpy as np

from registry.waveform.compiled import compiled
from registry.waveform.types import Flags, Floats


@compiled
def median(values: Floats) -> float:
    """Median of finite values; NaN of none."""
    count = values.size
    if count == 0:
        return nan
    ordered = np.sort(values)
    return 0.5 * float(ordered[(count - 1) // 2] + ordered[count // 2])


@compiled
def quantile(values: Floats, share: float) -> float:
    """Quantile of finite values by straight lines between order statistics; NaN of none."""
    if values.size == 0:
        return nan
    ordered = np.sort(values)
    place = share * (values.size - 1)
    below = int(place)
    above = min(below + 1, values.size - 1)
    return float(ordered[below] + (ordered[above] - ordered[below]) * (place - below))


@compiled
def running_median(values: Floats, width: int) -> Floats:
    """Median over `width` (odd) neighbours, mirrored at the ends; of all where there are no more."""
    size, half = values.size, width // 2
    found = np.empty(size)
    if size <= width:
        found[:] = median(values)
        return found
    window = np.empty(width)
    for centre in range(size):
        for entry in range(width):
            place = abs(centre - half + entry)
            place = place if place < size else 2 * (size - 1) - place
            value = values[place]
            spot = entry
            while spot > 0 and window[spot - 1] > value:
                window[spot] = window[spot - 1]
                spot -= 1
            window[spot] = value
        found[centre] = window[half]
    return found


@compiled
def first_from(ordered: Floats, value: float) -> int:
    """Number of entries of a rising array that lie under `value`: the place of the first that does not."""
    low, high = 0, ordered.size
    while low < high:
        middle = (low + high) // 2
        if ordered[middle] >= value:
            high = middle
        else:
            low = middle + 1
    return low


@compiled
def moments(values: Floats) -> tuple[float, float]:
    """(mean, sum of squares about it); NaN and 0 of none."""
    count = values.size
    if count == 0:
        return nan, 0.0
    mean = 0.0
    for value in values:
        mean += value
    mean /= count
    square = 0.0
    for value in values:
        square += (value - mean) ** 2
    return mean, square


@compiled
def stretch(values: Floats) -> tuple[float, float, float]:
    """(median, standard deviation, highest less lowest) of one value or more."""
    _, square = moments(values)
    return median(values), sqrt(square / values.size), values.max() - values.min()


@compiled
def chosen(values: Floats, which: Flags) -> Floats:
    """The values that are marked."""
    found = np.empty(values.size)
    count = 0
    for index in range(values.size):
        if which[index]:
            found[count] = values[index]
            count += 1
    return found[:count]


@compiled
def dot(one: Floats, two: Floats) -> float:
    """Sum of products."""
    total = 0.0
    for index in range(one.size):
        total += one[index] * two[index]
    return total


@compiled
def lag_one(values: Floats) -> float:
    """Correlation of neighbouring values; 0 where all are the same."""
    mean, square = moments(values)
    total = 0.0
    for index in range(1, values.size):
        total += (values[index] - mean) * (values[index - 1] - mean)
    return total / square if square > 0 else 0.0
