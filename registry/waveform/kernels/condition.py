"""Faults of a recording: spikes, gaps, the step of the readings."""

from math import inf

import numpy as np

from registry.waveform.compiled import Indices, compiled
from registry.waveform.types import Flags, Floats

from .order import median

SPIKE_SHARE = 0.25  # of the range of the trace: a lone sample this far off both neighbours is no vacuum
GAP_STEPS = 3.5  # samples further apart than this many usual intervals leave a gap


@compiled
def finite(values: Floats) -> tuple[Flags, int]:
    """(which values are finite, how many are not)."""
    found = np.isfinite(values)
    return found, found.size - found.sum()


@compiled
def spikes(vacuum: Floats) -> Indices:
    """Indices of lone samples far off both neighbours while the neighbours agree with each other.

    Many of them are no spikes but pulses shorter than the sampling.
    """
    found = np.empty(max(5, vacuum.size // 500), dtype=np.intp)
    if vacuum.size < 200:
        return found[:0]
    limit, large, count = SPIKE_SHARE * (vacuum.max() - vacuum.min()), 0, 0
    for index in range(1, vacuum.size):
        large += abs(vacuum[index] - vacuum[index - 1]) > limit
    if not 2 <= large <= vacuum.size // 50:
        return found[:0]
    before = 0.0
    for index in range(1, vacuum.size):
        change = vacuum[index] - vacuum[index - 1]
        alone = abs(change) > limit and abs(before) > limit and change * before < 0
        if alone and abs(before + change) < 0.2 * abs(before):
            if count < found.size:
                found[count] = index - 1
            count += 1
        before = change
    return found[: count if count <= found.size else 0]


@compiled
def gaps(seconds: Floats, step: float, lost: int) -> tuple[float, Indices]:
    """(usual interval, places of the samples that end a gap). `step` is the mean interval.

    The median is the usual interval where samples were lost or one interval stands out.
    """
    widest = 0.0
    for index in range(1, seconds.size):
        if seconds[index] - seconds[index - 1] > widest:
            widest = seconds[index] - seconds[index - 1]
    even = lost == 0 and widest <= GAP_STEPS * step
    usual = step if even else median(seconds[1:] - seconds[:-1])
    limit, count = GAP_STEPS * max(usual, 1e-9), 0
    ends = np.empty(0 if widest <= limit else seconds.size, dtype=np.intp)
    if ends.size == 0:
        return usual, ends
    for index in range(1, seconds.size):
        if seconds[index] - seconds[index - 1] > limit:
            ends[count] = index
            count += 1
    return usual, ends[:count]


@compiled
def smallest_step(ordered: Floats) -> float:
    """Smallest step between rising values that is more than their rounding, 0 where there is none."""
    if ordered.size < 2:
        return 0.0
    rounding = 1e-9 * max(abs(ordered[0]), abs(ordered[-1]), 1e-12)
    least = inf
    for index in range(1, ordered.size):
        step = ordered[index] - ordered[index - 1]
        if rounding < step < least:
            least = step
    return least if least < inf else 0.0


@compiled
def corrected(vacuum: Floats, zero: float, gain: float, offset: float) -> Floats:
    """Readings with zero taken off and the calibration applied."""
    found = np.empty(vacuum.size)
    for index in range(vacuum.size):
        found[index] = (vacuum[index] - zero) * gain + offset
    return found


@compiled
def travel(vacuum: Floats) -> float:
    """Mean distance from sample to sample, of two samples or more."""
    total = 0.0
    for index in range(1, vacuum.size):
        total += abs(vacuum[index] - vacuum[index - 1])
    return total / (vacuum.size - 1)


@compiled
def near_top(vacuum: Floats, top: float, near: float) -> tuple[int, int]:
    """(samples at `top` or above, samples above `near`)."""
    highest, above = 0, 0
    for value in vacuum:
        highest += value >= top
        above += value > near
    return highest, above
