"""Finding the beat of a trace and its crossings of mid-reference."""

from math import ceil, nan

import numpy as np

from registry.waveform.compiled import compiled
from registry.waveform.types import Flags, Floats

from .order import median, quantile, running_median

LIKENESS = 0.25  # below this share of the variance repeats from cycle to cycle: not a pump
FIRST_PEAK = 0.85  # the first peak of likeness this close to the best one is the period, not a multiple
IDLE = 0.3  # of the usual swing: less is a pump at rest or open air, judged by the usual levels
NEIGHBOURS = 7  # periods over which levels are followed


@compiled
def thinned(vacuum: Floats, thin: int) -> Floats:
    """Means of every `thin` samples, less the mean of all of them."""
    size = vacuum.size // thin
    grid = np.empty(size)
    for spot in range(size):
        total = 0.0
        for index in range(spot * thin, (spot + 1) * thin):
            total += vacuum[index]
        grid[spot] = total / thin
    return grid - grid.mean() if size else grid


@compiled
def likeliest_lag(product: Floats, size: int, shortest: float) -> float:
    """Lag, between samples, after which a series of `size` is most like itself; 0 where it never is.

    `product` holds the sums of products at lags 0 and on. Taken is the first peak that is nearly as high as
    the best one, beyond `shortest` and beyond where the likeness first falls to a half.
    """
    if product.size < 3 or product[0] <= 0:
        return 0.0
    likeness = product / (size - np.arange(product.size))
    likeness /= likeness[0]
    fallen = 0
    while fallen < likeness.size and likeness[fallen] >= 0.5:
        fallen += 1
    best = 0.0
    peaks = np.zeros(likeness.size, dtype=np.bool_)
    for lag in range(1, likeness.size - 1):
        here = likeness[lag]
        peaks[lag] = lag > max(float(fallen), shortest) and likeness[lag - 1] <= here > likeness[lag + 1]
        if peaks[lag]:
            best = max(best, here)
    if best < LIKENESS:
        return 0.0
    for lag in range(1, likeness.size - 1):
        if peaks[lag] and likeness[lag] >= FIRST_PEAK * best:
            before, here, after = likeness[lag - 1], likeness[lag], likeness[lag + 1]
            return float(lag + 0.5 * (before - after) / (before - 2 * here + after))
    return 0.0


@compiled
def levels(vacuum: Floats, per_cycle: float) -> tuple[Floats, Floats]:
    """(low, high) level of each stretch of `per_cycle` samples, the running median of extremes.

    The usual levels stand in where the swing, or a high level next to the usual low one, says that the pump
    rests: open air may lie far under the level of a rest.
    """
    size = max(ceil(max(vacuum.size - per_cycle / 2, 1.0) / per_cycle), 1)
    low, high = np.empty(size), np.empty(size)
    for part in range(size):
        first = min(int(part * per_cycle), vacuum.size - 1)
        last = int((part + 1) * per_cycle) if part + 1 < size else vacuum.size
        lowest = highest = vacuum[first]
        for index in range(first + 1, min(last, vacuum.size)):
            value = vacuum[index]
            if value < lowest:
                lowest = value
            if value > highest:
                highest = value
        low[part], high[part] = lowest, highest
    low, high = running_median(low, NEIGHBOURS), running_median(high, NEIGHBOURS)
    usual_low, usual_high = median(low), median(high)
    little = IDLE * (usual_high - usual_low)
    for part in range(size):
        if high[part] - low[part] < little or high[part] < usual_low + little:
            low[part], high[part] = usual_low, usual_high
    return low, high


@compiled
def share_of_swing(vacuum: Floats, low: Floats, high: Floats, per_cycle: float) -> Floats:
    """Where each sample lies between the low (0) and the high (1) level of its stretch."""
    share = np.empty(vacuum.size)
    for part in range(low.size):
        scale = 1.0 / max(high[part] - low[part], 1e-12)
        bottom = low[part] * scale
        last = int((part + 1) * per_cycle) if part + 1 < low.size else vacuum.size
        for index in range(int(part * per_cycle), min(last, vacuum.size)):
            share[index] = vacuum[index] * scale - bottom
    return share


@compiled
def passes(seconds: Floats, share: Floats, arm: float, mid: float, fire: float) -> tuple[Floats, Flags]:
    """(time, is it a rise) of each pass through the whole band from `arm` to `fire`, either way.

    The time is that of the last crossing of `mid` before, on a straight line between two samples.
    """
    times, rises = np.empty(share.size), np.empty(share.size, dtype=np.bool_)
    count, left = 0, 0
    known, above = False, False
    for index in range(share.size):
        here = share[index]
        if index > 0 and (here > mid) != (share[index - 1] > mid):
            left = index - 1
        if here > fire or here < arm:
            if known and (here > fire) != above:
                part = (mid - share[left]) / (share[left + 1] - share[left])
                times[count] = seconds[left] + (seconds[left + 1] - seconds[left]) * part
                rises[count] = here > fire
                count += 1
            known, above = True, here > fire
    return times[:count], rises[:count]


@compiled
def paired(times: Floats, rises: Flags) -> tuple[Floats, Floats]:
    """(rises, the fall after each) of crossings that alternate; the last fall is NaN where none came."""
    first = 0 if times.size == 0 or rises[0] else 1
    count = (times.size - first + 1) // 2
    rise, fall = np.empty(count), np.full(count, nan)
    for number in range(count):
        rise[number] = times[first + 2 * number]
        if first + 2 * number + 1 < times.size:
            fall[number] = times[first + 2 * number + 1]
    return rise, fall


@compiled
def share_alike(values: Floats, usual: float) -> float:
    """Share of the values within a tenth of the usual one."""
    alike = 0
    for value in values:
        alike += abs(value / usual - 1) < 0.1
    return alike / values.size


@compiled
def beat(rise: Floats, period: float) -> tuple[float, bool]:
    """(period, whether each holds several pulses): likeness may have found several cycles, or a pattern.

    A pattern repeats pulse by pulse and its pulses are unevenly spaced; else the usual interval is the
    period.
    """
    between = rise[1:] - rise[:-1]
    usual = median(between)
    if between.size < 3 or usual > 0.75 * period:
        return period, False
    if share_alike(between, usual) <= 0.7:
        for pulses in range(2, 4):
            if rise.size <= pulses:
                break
            if share_alike(rise[pulses:] - rise[: rise.size - pulses], period) > 0.7:
                return period, True
    return usual, False


@compiled
def starts_of_cycles(rise: Floats, fall: Floats, period: float, double: bool) -> Flags:
    """Which rises start a cycle: not those after a plateau that broke and came back, or of a double pulse."""
    starts = np.ones(rise.size, dtype=np.bool_)
    if double:
        pause = rise[1:] - fall[:-1]
        long = 0.5 * (pause.min() + quantile(pause, 0.95))
        for index in range(pause.size):
            starts[index + 1] = pause[index] > long
        return starts
    last = rise[0]
    for index in range(1, rise.size):
        starts[index] = rise[index] - last >= 0.6 * period
        if starts[index]:
            last = rise[index]
    return starts


@compiled
def one_a_period(rise: Floats, fall: Floats, period: float, double: bool) -> tuple[Floats, Floats]:
    """Join pulses that belong to one cycle: it starts at the first one's rise and turns at the last one's."""
    if rise.size < 2:
        return rise, fall
    starts = starts_of_cycles(rise, fall, period, double)
    first, last = np.empty(rise.size), np.empty(rise.size)
    count = 0
    for index in range(rise.size):
        if starts[index]:
            first[count] = rise[index]
            count += 1
        last[count - 1] = fall[index]
    return first[:count], last[:count]
