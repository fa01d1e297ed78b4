"""One low-noise cycle out of many: samples folded on their cycle, then smoothed without rounding corners.

A maximum of noisy samples reads high and a smoothed one reads low. Folding gives many samples at each phase;
for each phase the widest one-sided line that still agrees with all narrower ones is kept (intersection of
confidence intervals, after Goldenshluger and Nemirovski 1997), so plateaus are averaged whole and corners,
where one side bends away, are approached from the other.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .order import median
from .types import Flags, Floats

Indices = NDArray[np.intp]

AGREEMENT = 2.0  # half-width of the compared intervals, in standard errors


@dataclass(frozen=True, eq=False)
class Fold:
    """Samples of some cycles laid over each other: `at` seconds into the common cycle, `cycle` their number.

    Each cycle is stretched in two pieces, rise to fall and fall to rise, onto the mean `width` and `period`.
    """

    at: Floats
    vacuum: Floats
    cycle: Indices
    width: float
    period: float
    count: int


@dataclass(frozen=True, eq=False)
class Profile:
    """The common cycle in bins at rising times `at` (0 is the rising crossing).

    `raw` is the mean of each bin and `weight` one over its variance; `level`, `slope` and their standard
    errors are smoothed. `place` is the bin of every folded sample.
    """

    at: Floats
    raw: Floats
    weight: Floats
    level: Floats
    error: Floats
    slope: Floats
    slope_error: Floats
    period: float
    place: Indices


def fold(seconds: Floats, vacuum: Floats, rise: Floats, fall: Floats, use: Flags) -> Fold:
    """Lay the cycles marked in `use` over each other; k runs rise[k]..rise[k+1] and turns at fall[k]."""
    turns = np.empty(2 * rise.size - 1)
    turns[::2], turns[1::2] = rise, fall[: rise.size - 1]
    bounds = np.searchsorted(seconds, turns)
    lengths = np.diff(bounds)
    up, down = turns[1::2] - turns[:-1:2], turns[2::2] - turns[1::2]
    width, rest = float(up[use].mean()), float(down[use].mean())
    rate = np.empty(lengths.size)
    rate[::2], rate[1::2] = width / up, rest / down
    shift = -turns[:-1] * rate
    shift[1::2] += width
    window = slice(int(bounds[0]), int(bounds[-1]))
    at = seconds[window] * np.repeat(rate, lengths)
    at += np.repeat(shift, lengths)
    values = vacuum[window]
    cycle = np.repeat(np.arange(use.size), lengths[::2] + lengths[1::2])
    if not use.all():
        keep = use[cycle]
        at, values, cycle = at[keep], values[keep], cycle[keep]
    return Fold(at, values, cycle, width, width + rest, int(use.sum()))


def bins_for(samples: int) -> int:
    """How many bins serve that many folded samples."""
    return int(np.clip(samples // 6, 48, 320))


@dataclass(frozen=True, eq=False)
class _Binned:
    """Bins that hold samples: mean time and level, number of samples; and the bin of every sample."""

    at: Floats
    level: Floats
    count: Floats
    place: Indices


def _bin(folded: Fold, bins: int) -> _Binned:
    place = np.minimum((folded.at * (bins / folded.period)).astype(np.intp), bins - 1)
    np.maximum(place, 0, out=place)
    count = np.bincount(place, minlength=bins).astype(np.float64)
    at = np.bincount(place, folded.at, minlength=bins)
    level = np.bincount(place, folded.vacuum, minlength=bins)
    if count.min() > 0:
        return _Binned(at / count, level / count, count, place)
    filled = count > 0
    count = count[filled]
    return _Binned(at[filled] / count, level[filled] / count, count, (np.cumsum(filled) - 1)[place])


def rough(folded: Fold) -> Profile:
    """A quick profile, good enough to move crossings by: means of three bins, and the slope between them."""
    binned = _bin(folded, bins_for(folded.at.size) // 2)
    around = np.concatenate([[-1], np.arange(binned.at.size), [0]])
    moment = (binned.count * binned.level)[around]
    count = binned.count[around]
    level = (moment[:-2] + moment[1:-1] + moment[2:]) / (count[:-2] + count[1:-1] + count[2:])
    at = binned.at[around]
    at[0] -= folded.period
    at[-1] += folded.period
    raw = binned.level[around]
    slope = (raw[2:] - raw[:-2]) / (at[2:] - at[:-2])
    even = np.ones(level.size)
    return Profile(
        binned.at, binned.level, binned.count, level, even, slope, even, folded.period, binned.place
    )


def smooth(folded: Fold, floor: float) -> Profile:
    """The profile of folded samples. `floor` is the least standard deviation a sample can have, in mmHg."""
    binned = _bin(folded, bins_for(folded.at.size))
    count, place, bins = binned.count, binned.place, binned.at.size
    away = folded.vacuum - binned.level[place]
    variance = np.bincount(place, away * away, minlength=bins) / count
    scatter = _scatter(variance, count, _within_bin(folded, binned), floor)
    fitted = _local_lines(binned.at, binned.level, count / scatter, folded.period)
    return Profile(binned.at, binned.level, count / scatter, *fitted, folded.period, place)


def _within_bin(folded: Fold, binned: _Binned) -> Floats:
    """Variance that the slope of the profile alone makes inside a bin."""
    away = folded.at - binned.at[binned.place]
    spread = np.bincount(binned.place, away * away, minlength=binned.at.size) / binned.count
    slope = np.gradient(binned.level, binned.at) if binned.at.size > 2 else np.zeros(binned.at.size)
    return np.asarray(slope**2 * spread)


def _scatter(variance: Floats, weight: Floats, slope_part: Floats, floor: float) -> Floats:
    """Variance of a single sample near each bin, pooled over seven bins.

    Never under floor**2 nor far under what is usual: taking off the slope's part can leave nothing by chance.
    """
    excess = np.maximum(variance - slope_part, 0.0) * weight
    freedom = np.maximum(weight - 1.0, 0.0)
    around = np.ones(7)
    wrap = np.r_[-3:0, 0 : weight.size, 0:3] % weight.size
    pooled = np.convolve(excess[wrap], around, "valid") / np.maximum(
        np.convolve(freedom[wrap], around, "valid"), 1.0
    )
    return np.asarray(np.maximum(pooled, max(floor**2, 0.3 * median(pooled))))


def _window_sizes(bins: int) -> Indices:
    sizes = np.array([3, 5, 8, 13, 22, 36, 60, 100])
    return sizes[(sizes >= 3) & (sizes <= max(3, bins // 3))]


def _local_lines(
    at: Floats, level: Floats, weight: Floats, period: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """(level, error, slope, error): estimates from the left and the right, joined by their precision."""
    bins = at.size
    sizes = _window_sizes(bins)
    reach = int(sizes[-1])
    index = np.arange(-reach, bins + reach) % bins
    turn = np.concatenate([np.full(reach, -period), np.zeros(bins), np.full(reach, period)])
    if reach >= bins:
        sizes, reach = sizes[:0], 0
        index, turn = np.arange(bins), np.zeros(bins)
    long_at = at[index] + turn
    weights = weight[index]
    sums = _running_sums(long_at, level[index], weights)
    centre = np.arange(reach, reach + bins)
    both = []
    for side in (-1, 1):
        first = centre - sizes[:, None] + 1 if side < 0 else np.broadcast_to(centre, (sizes.size, bins))
        last = np.broadcast_to(centre + 1, (sizes.size, bins)) if side < 0 else centre + sizes[:, None]
        both.append(_widest_agreeing(sums, first, last, at, level, weight))
    (one, one_var, rise_one, rise_one_var), (two, two_var, rise_two, rise_two_var) = both
    joint = 1.0 / (1.0 / one_var + 1.0 / two_var)
    slope_joint = 1.0 / (1.0 / rise_one_var + 1.0 / rise_two_var)
    return (
        joint * (one / one_var + two / two_var),
        np.sqrt(joint),
        slope_joint * (rise_one / rise_one_var + rise_two / rise_two_var),
        np.sqrt(slope_joint),
    )


def _running_sums(at: Floats, level: Floats, weight: Floats) -> Floats:
    """Cumulative sums of w, wx, wxx, wy, wxy, each starting from 0."""
    rows = np.empty((5, at.size + 1))
    rows[:, 0] = 0.0
    moment = weight * at
    for row, values in enumerate((weight, moment, moment * at, weight * level, moment * level)):
        np.cumsum(values, out=rows[row, 1:])
    return rows


def _widest_agreeing(
    sums: Floats, first: Indices, last: Indices, at: Floats, level: Floats, weight: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """(value, its variance, slope, its variance) at each point from the widest window that still agrees."""
    w, x, xx, y, xy = sums[:, last] - sums[:, first]
    mean_x = x / w
    spread = np.maximum(xx - x * mean_x, 1e-9 * w * (at[-1] / at.size) ** 2)
    slope = (xy - y * mean_x) / spread
    away = at - mean_x
    value = y / w + slope * away
    variance = 1.0 / w + away**2 / spread
    values = np.concatenate([level[None], value])
    variances = np.concatenate([1.0 / weight[None], variance])
    half = AGREEMENT * np.sqrt(variances)
    lowest = np.minimum.accumulate(values + half, axis=0)
    highest = np.maximum.accumulate(values - half, axis=0)
    widest = np.logical_and.accumulate(highest <= lowest, axis=0).sum(axis=0) - 1
    column = np.arange(at.size)
    inner = np.maximum(widest - 1, 0)
    return (
        values[widest, column],
        variances[widest, column],
        slope[inner, column],
        1.0 / spread[inner, column],
    )
