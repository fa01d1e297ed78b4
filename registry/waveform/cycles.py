"""Where cycles begin and turn: the repeating period, and crossings of mid-reference with hysteresis.

The levels that hysteresis works against follow the trace slowly (a running median over seven periods), so
that a drift is followed and a lost cycle is not. Terms as in IEC 60469 / IEEE 181.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import irfft, next_fast_len, rfft

from .order import median, running_median
from .types import Flags, Floats

Indices = NDArray[np.intp]

SHORTEST_S, LONGEST_S = 0.2, 8.0
GRID_HZ = 40.0
LIKENESS = 0.25  # below this share of the variance repeats from cycle to cycle: not a pump
IDLE = 0.3  # of the usual swing: less is a pump at rest or open air, judged by the usual levels
NEIGHBOURS = 7  # periods over which levels are followed
FIRST_PEAK = 0.85  # the first peak of likeness this close to the best one is the period, not a multiple


@dataclass(frozen=True, eq=False)
class Crossings:
    """Mid-reference crossings of a trace in seconds: each `rise` is followed by its `fall`.

    The last fall is NaN where the trace ends above mid-reference. `period` is the repeating period, `low`
    and `high` the median levels that hysteresis worked against.
    """

    rise: Floats
    fall: Floats
    period: float
    low: float
    high: float
    double: bool


def repeating_period(vacuum: Floats, step_s: float) -> float | None:
    """Seconds after which the trace is most like itself, or None when it does not repeat.

    The first peak of the autocorrelation that is nearly as high as the best one, so that a pattern of several
    pulses counts as one and a multiple of the period does not.
    """
    thin = max(1, int(1.0 / (step_s * GRID_HZ)))
    grid = vacuum[: vacuum.size // thin * thin].reshape(-1, thin).mean(axis=1)
    step = step_s * thin
    furthest = min(int(LONGEST_S / step), grid.size * 2 // 3)
    likeness = _autocorrelation(grid, furthest)
    fallen = np.flatnonzero(likeness < 0.5)
    if furthest < 4 or fallen.size == 0:
        return None
    inner = likeness[1:-1]
    peaks = 1 + np.flatnonzero((inner >= likeness[:-2]) & (inner > likeness[2:]))
    peaks = peaks[peaks > max(fallen[0], SHORTEST_S / step)]
    if peaks.size == 0 or likeness[peaks].max() < LIKENESS:
        return None
    first = int(peaks[np.argmax(likeness[peaks] >= FIRST_PEAK * likeness[peaks].max())])
    before, here, after = likeness[first - 1 : first + 2]
    return float(step * (first + 0.5 * (before - after) / (before - 2 * here + after)))


def _autocorrelation(grid: Floats, furthest: int) -> Floats:
    """Unbiased autocorrelation for lags 0..furthest; all zero for a flat trace."""
    centred = grid - grid.mean()
    size = next_fast_len(grid.size + furthest + 1, real=True)
    spectrum = rfft(centred, size)
    power = spectrum.real**2 + spectrum.imag**2
    product: Floats = irfft(power, size)[: furthest + 1]
    product = product / (grid.size - np.arange(furthest + 1))
    return product / product[0] if product[0] > 0 else np.zeros(furthest + 1)


def share_of_swing(vacuum: Floats, per_cycle: float) -> tuple[Floats, Floats, Floats]:
    """(share, low, high): where each sample lies between the local low (0) and high (1) level.

    `per_cycle` is samples a cycle; `low` and `high` hold one value for each stretch of that length.
    """
    edges = np.arange(0.0, max(vacuum.size - per_cycle / 2, 1.0), per_cycle).astype(np.intp)
    high = running_median(np.maximum.reduceat(vacuum, edges), NEIGHBOURS)
    low = running_median(np.minimum.reduceat(vacuum, edges), NEIGHBOURS)
    usual_low, usual_high = median(low), median(high)
    idle = high - low < IDLE * (usual_high - usual_low)
    high, low = np.where(idle, usual_high, high), np.where(idle, usual_low, low)
    lengths = np.diff(edges, append=vacuum.size)
    scale = 1.0 / np.maximum(high - low, 1e-12)
    share = vacuum * np.repeat(scale, lengths)
    share -= np.repeat(low * scale, lengths)
    return share, low, high


def _switches(share: Floats, arm: float, fire: float) -> tuple[Indices, Flags]:
    """(first sample after, is it a rise) for each pass through the whole hysteresis band."""
    above = share > fire
    outside = np.flatnonzero(above | (share < arm))
    state = above[outside]
    turn = np.flatnonzero(state[1:] != state[:-1])
    return outside[turn + 1], state[turn + 1]


def _interpolate(seconds: Floats, share: Floats, left: Indices, level: float) -> Floats:
    """Time at which the straight line from sample `left` to the next meets `level`."""
    here, there = share[left], share[left + 1]
    start = seconds[left]
    return np.asarray(start + (seconds[left + 1] - start) * (level - here) / (there - here))


def find_crossings(seconds: Floats, vacuum: Floats, bounds: tuple[float, float, float]) -> Crossings | None:
    """Mid-reference crossings, or None where nothing repeats. `bounds` is (arm, mid, fire) of the swing.

    A rise needs the vacuum to pass from below `arm` to above `fire`,
    so a flutter on the plateau or on the rest makes no cycle.
    """
    arm, mid, fire = bounds
    step = float(seconds[-1] - seconds[0]) / max(seconds.size - 1, 1)
    period = repeating_period(vacuum, step) if seconds.size >= 8 else None
    if period is None:
        return None
    share, low, high = share_of_swing(vacuum, period / step)
    after, rises = _switches(share, arm, fire)
    over = share > mid
    flips = np.flatnonzero(over[1:] != over[:-1])
    left = flips[np.searchsorted(flips, after) - 1]
    times = _interpolate(seconds, share, left, mid)
    rise, fall = times[rises], times[~rises]
    if rise.size == 0:
        return None
    fall = fall[int(fall.size > 0 and fall[0] < rise[0]) :]
    fall = np.append(fall, np.full(rise.size - fall.size, np.nan))
    period, double = _beat(rise, period)
    rise, fall = _one_a_period(rise, fall, period, double=double)
    return Crossings(rise, fall, period, median(low), median(high), double)


def _beat(rise: Floats, period: float) -> tuple[float, bool]:
    """(period, whether each holds several pulses): likeness may have found several cycles, or a pattern.

    A pattern repeats pulse by pulse and its pulses are unevenly spaced; else the usual interval is the
    period.
    """
    between = np.diff(rise)
    if between.size < 3 or median(between) > 0.75 * period:
        return period, False
    pulses = max(int(np.rint(period / median(between))), 2)
    pattern = rise[pulses:] - rise[:-pulses]
    steady = pattern.size > 0 and float(np.mean(np.abs(pattern / period - 1) < 0.1)) > 0.7
    even = float(np.mean(np.abs(between / median(between) - 1) < 0.1)) > 0.7
    if pulses <= 3 and steady and not even:
        return period, True
    return median(between), False


def _one_a_period(rise: Floats, fall: Floats, period: float, *, double: bool) -> tuple[Floats, Floats]:
    """Join pulses that belong to one cycle: a plateau that broke and came back, or a double pulse."""
    if rise.size < 2:
        return rise, fall
    if double:
        pause = rise[1:] - fall[:-1]
        starts = np.concatenate([[True], pause > 0.5 * (pause.min() + np.quantile(pause, 0.95))])
    elif np.all(np.diff(rise) >= 0.6 * period):
        return rise, fall
    else:
        starts = np.ones(rise.size, dtype=bool)
        last = rise[0]
        for index in range(1, rise.size):
            starts[index] = rise[index] - last >= 0.6 * period
            last = rise[index] if starts[index] else last
    ends = np.concatenate([np.flatnonzero(starts)[1:] - 1, [rise.size - 1]])
    return rise[starts], fall[ends]
