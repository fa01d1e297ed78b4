"""Cycles laid over each other, their bins, and a first rough common cycle."""

from math import isfinite, nan, sqrt

import numpy as np

from registry.waveform.compiled import Indices, Rows, compiled
from registry.waveform.types import Flags, Floats

from .order import chosen, dot, first_from, median, moments, running_median

HEIGHT = 0.12  # of the swing: cycles higher or lower than their neighbours by more are left out
USUAL = 0.2  # cycles whose period or width is further from the median are left out of the common cycle
STEADY = 2.0  # reading errors that crossings of a steady pump may stray from an even beat


@compiled
def overlapping(start: Floats, end: Floats, gaps: Rows) -> Flags:
    """Which of the stretches start..end meet a gap; `gaps` has a row (before, after) for each."""
    met = np.zeros(start.size, dtype=np.bool_)
    for gap in range(gaps.shape[0]):
        for index in range(start.size):
            if start[index] < gaps[gap, 1] and end[index] > gaps[gap, 0]:
                met[index] = True
    return met


@compiled
def tops(seconds: Floats, vacuum: Floats, rise: Floats) -> Floats:
    """Highest sample from each rise to the next; the one at the rise where none lies between."""
    found = np.empty(max(rise.size - 1, 0))
    for number in range(found.size):
        first = min(first_from(seconds, rise[number]), seconds.size - 1)
        last = min(first_from(seconds, rise[number + 1]), seconds.size - 1)
        highest = vacuum[first]
        for index in range(first + 1, last):
            if vacuum[index] > highest:
                highest = vacuum[index]
        found[number] = highest
    return found


@compiled
def usual_cycles(
    seconds: Floats, vacuum: Floats, rise: Floats, fall: Floats, gaps: Rows, swing: float
) -> Flags:
    """Cycles fit for folding: of usual period, width and height among their neighbours, without a gap."""
    count = max(rise.size - 1, 0)
    period, width = rise[1:] - rise[:-1], fall[:count] - rise[:count]
    usual, middle = median(period), median(chosen(width, np.isfinite(width)))
    top = tops(seconds, vacuum, rise)
    around = running_median(top, 9)
    met = overlapping(rise[:-1], rise[1:], gaps)
    fit = np.zeros(count, dtype=np.bool_)
    for number in range(count):
        fit[number] = (
            not met[number]
            and abs(period[number] / usual - 1) < USUAL
            and abs(width[number] - middle) < max(USUAL * middle, 0.05 * usual)
            and abs(top[number] - around[number]) < HEIGHT * swing
        )
    return fit


@compiled
def mean_pieces(rise: Floats, fall: Floats, use: Flags) -> tuple[float, float]:
    """(mean seconds from rise to fall, from fall to the next rise) of the cycles marked in `use`."""
    up, down, count = 0.0, 0.0, 0
    for number in range(use.size):
        if use[number]:
            up += fall[number] - rise[number]
            down += rise[number + 1] - fall[number]
            count += 1
    return up / max(count, 1), down / max(count, 1)


@compiled
def lay(
    seconds: Floats, vacuum: Floats, rise: Floats, fall: Floats, use: Flags
) -> tuple[Floats, Floats, Indices, float, float]:
    """(seconds into the common cycle, vacuum, cycle number) of all samples, mean width and mean period.

    Cycle k runs rise[k]..rise[k+1] and turns at fall[k]. Those marked in `use` are stretched in two pieces,
    rise to fall and fall to rise, onto the mean width and period.
    """
    width, rest = mean_pieces(rise, fall, use)
    bounds = np.empty(2 * use.size + 1, dtype=np.intp)
    bounds[2 * use.size] = first_from(seconds, rise[use.size])
    count = 0
    for number in range(use.size):
        bounds[2 * number] = first_from(seconds, rise[number])
        bounds[2 * number + 1] = first_from(seconds, fall[number])
    for piece in range(2 * use.size):
        if use[piece // 2]:
            count += max(bounds[piece + 1] - bounds[piece], 0)
    at, values, cycle = np.empty(count), np.empty(count), np.empty(count, dtype=np.intp)
    spot = 0
    for piece in range(2 * use.size):
        number = piece // 2
        if not use[number]:
            continue
        if piece % 2 == 0:
            rate = width / (fall[number] - rise[number])
            shift = -rise[number] * rate
        else:
            rate = rest / (rise[number + 1] - fall[number])
            shift = -fall[number] * rate + width
        for index in range(bounds[piece], bounds[piece + 1]):
            at[spot] = seconds[index] * rate + shift
            values[spot] = vacuum[index]
            cycle[spot] = number
            spot += 1
    return at, values, cycle, width, width + rest


@compiled
def binned(at: Floats, vacuum: Floats, period: float, bins: int) -> tuple[Indices, Floats, Floats, Floats]:
    """(bin of every sample; samples, mean time and mean level of each bin); empty bins are left out."""
    place = np.empty(at.size, dtype=np.intp)
    count, time, level = np.zeros(bins), np.zeros(bins), np.zeros(bins)
    scale = bins / period
    for index in range(at.size):
        spot = at[index] * scale
        cell = 0 if not spot > 0 else (bins - 1 if spot >= bins else int(spot))
        place[index] = cell
        count[cell] += 1
        time[cell] += at[index]
        level[cell] += vacuum[index]
    number = np.empty(bins, dtype=np.intp)
    filled = 0
    for cell in range(bins):
        if count[cell] > 0:
            number[cell] = filled
            time[filled], level[filled] = time[cell] / count[cell], level[cell] / count[cell]
            count[filled] = count[cell]
            filled += 1
    if filled < bins:
        for index in range(place.size):
            place[index] = number[place[index]]
    return place, count[:filled], time[:filled], level[:filled]


@compiled
def rough(at: Floats, level: Floats, count: Floats, period: float) -> tuple[Floats, Floats]:
    """(level, slope) at bins: means over three neighbours, and the slope between the outer two."""
    size = at.size
    smoothed, slope = np.empty(size), np.empty(size)
    for here in range(size):
        before, after = (here - 1) % size, (here + 1) % size
        first = at[before] - (period if here == 0 else 0.0)
        last = at[after] + (period if here == size - 1 else 0.0)
        samples = count[before] + count[here] + count[after]
        moment = count[before] * level[before] + count[here] * level[here] + count[after] * level[after]
        smoothed[here] = moment / samples
        slope[here] = (level[after] - level[before]) / (last - first)
    return smoothed, slope


@compiled
def shifted(times: Floats, by: Floats, most: float) -> Floats:
    """Times moved by no more than `most`; those beyond the end of `by` stay."""
    moved = times.copy()
    for index in range(min(times.size, by.size)):
        moved[index] += min(max(by[index], -most), most)
    return moved


@compiled
def even_beat(rise: Floats) -> Floats:
    """Rises moved onto a straight line over their numbers, missing ones counted."""
    between = rise[1:] - rise[:-1]
    usual = median(between)
    number = np.zeros(rise.size)
    for index in range(between.size):
        number[index + 1] = number[index] + max(np.rint(between[index] / usual), 1.0)
    away = number - number.mean()
    line: Floats = rise.mean() + away * (dot(away, rise) / dot(away, away))
    return line


@compiled
def steadied(rise: Floats, fall: Floats, use: Flags, error: float) -> tuple[Floats, Floats]:
    """Crossings on an even beat where their own reading error explains all that they stray from it.

    Folding on crossings that are noise smears the profile, worst where the sampling keeps step with the pump
    and samples of all cycles lie at the same few places.
    """
    line = even_beat(rise)
    _, square = moments(rise - line)
    if not sqrt(square / rise.size) <= STEADY * error:
        return rise, fall
    width = fall[: use.size] - rise[: use.size]
    usual, square = moments(chosen(width, use))
    moved = fall.copy()
    if sqrt(square / max(use.sum(), 1)) <= STEADY * sqrt(2.0) * error:
        for number in range(use.size):
            if use[number]:
                moved[number] = line[number] + usual
    return line, moved


@compiled
def mean_period(rise: Floats, use: Flags) -> float:
    """Mean seconds a cycle of those marked; NaN of none."""
    total, count = 0.0, 0
    for number in range(use.size):
        if use[number]:
            total += rise[number + 1] - rise[number]
            count += 1
    return total / count if count and isfinite(total) else nan


@compiled
def own_share(deviation: Floats, noise: float, least: float) -> float:
    """Share of the variance of cycles' deviations that is their own and not of reading noise.

    0 where their own standard deviation is under `least`.
    """
    known = chosen(deviation, np.isfinite(deviation))
    if known.size < 3:
        return 0.0
    variance = moments(known)[1] / (known.size - 1)
    own = variance - noise**2
    return float(own / variance) if own > least**2 else 0.0


@compiled
def levelled(
    vacuum: Floats, cycle: Indices, place: Indices, level: Floats, top: Floats, bottom: Floats
) -> Floats:
    """Folded vacuum without how far each cycle's top and bottom lie from the common ones.

    `place` is the bin of each sample in the common cycle's `level`; between top and bottom a sample has its
    share of both. Where cycles differ and the sampling keeps step with the pump, each bin would else hold
    cycles of its own and show their differences as form.
    """
    low, swing = level.min(), max(level.max() - level.min(), 1e-12)
    result = np.empty(vacuum.size)
    for index in range(vacuum.size):
        share = (level[place[index]] - low) / swing
        off = share * top[cycle[index]] + (1.0 - share) * bottom[cycle[index]]
        result[index] = vacuum[index] - (off if isfinite(off) else 0.0)
    return result
