"""The smoothed common cycle unrolled from the middle of one rest to the middle of the next, see `shape`."""

from math import nan

import numpy as np

from registry.waveform.compiled import Indices, compiled
from registry.waveform.types import Floats

from .order import first_from


@compiled
def extremes(level: Floats, error: Floats, careful: float) -> tuple[int, int]:
    """Bins of the highest and the lowest level, each discounted by `careful` standard errors."""
    top, bottom = 0, 0
    for here in range(1, level.size):
        if level[here] - careful * error[here] > level[top] - careful * error[top]:
            top = here
        if level[here] + careful * error[here] < level[bottom] + careful * error[bottom]:
            bottom = here
    return top, bottom


@compiled
def turns(at: Floats, level: Floats, width: float) -> tuple[float, float]:
    """(middle of the lowest stretch after the fall at `width`, when the cycle is highest before it)."""
    up = min(max(first_from(at, width), 1), at.size - 1)
    after = level[up:]
    lowest = np.flatnonzero(after <= after.min() + 0.1 * (level.max() - level.min()))
    return at[up + lowest[lowest.size // 2]], at[np.argmax(level[:up])]


@compiled
def unrolled(at: Floats, turn: float, period: float) -> tuple[Indices, Floats]:
    """(bins, their times) from `turn` in the cycle before to `turn` itself, which comes at both ends."""
    size = at.size
    first = min(first_from(at, turn), size - 1)
    order, times = np.empty(size + 1, dtype=np.intp), np.empty(size + 1)
    for place in range(size + 1):
        earlier = first + place < size
        order[place] = first + place - (0 if earlier else size)
        times[place] = at[order[place]] - (period if earlier else 0.0)
    return order, times


@compiled
def nearest(at: Floats, time: float) -> int:
    """Place of the entry of a rising array that is nearest a time."""
    after = min(max(first_from(at, time), 1), at.size - 1)
    return after - 1 if time < 0.5 * (at[after - 1] + at[after]) else after


@compiled
def rising(at: Floats, level: Floats, wanted: float, top: float) -> float:
    """Time nearest 0, and before `top`, of a rise through a level; NaN when there is none."""
    found = nan
    for here in range(at.size - 1):
        if level[here] < wanted <= level[here + 1]:
            part = (wanted - level[here]) / (level[here + 1] - level[here])
            time = at[here] + (at[here + 1] - at[here]) * part
            if time < top and not abs(found) <= abs(time):
                found = time
    return found


@compiled
def falling(at: Floats, level: Floats, wanted: float, top: float, width: float) -> float:
    """Time nearest `width`, and after `top`, of a fall through a level; NaN when there is none."""
    found = nan
    for here in range(at.size - 1):
        if level[here] >= wanted > level[here + 1]:
            part = (wanted - level[here]) / (level[here + 1] - level[here])
            time = at[here] + (at[here + 1] - at[here]) * part
            if time > top and not abs(found - width) <= abs(time - width):
                found = time
    return found


@compiled
def steepness(at: Floats, level: Floats, slope: Floats, time: float) -> float:
    """Steepest slope either way near a time: between the two bins about it, or the smoothed one there."""
    after = min(max(first_from(at, time), 1), at.size - 1)
    rise = (level[after] - level[after - 1]) / (at[after] - at[after - 1])
    return float(max(abs(rise), abs(slope[nearest(at, time)]), 1e-12))


@compiled
def steepest(at: Floats, slope: Floats, error: Floats, first: float, last: float) -> float:
    """When between two times the slope less its standard error is largest; their middle without a bin."""
    found, most = 0.5 * (first + last), -np.inf
    for here in range(at.size):
        if first <= at[here] <= last and slope[here] - error[here] > most:
            found, most = at[here], slope[here] - error[here]
    return found


@compiled
def dips(at: Floats, highest: Floats, level: float, first: float, last: float) -> float:
    """Time between two instants that neighbouring bins are under a level, by the `highest` they can be."""
    total, before = 0.0, False
    for here in range(at.size):
        under = first < at[here] < last and highest[here] < level
        if under and before:
            total += at[here] - at[here - 1]
        before = under
    return total
