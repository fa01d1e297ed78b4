"""How far single cycles are off the common one, see `refine`."""

from math import inf, nan, sqrt

import numpy as np

from registry.waveform.compiled import Indices, compiled
from registry.waveform.types import Floats

from .order import chosen, first_from, median

TOP, BOTTOM, RISING, FALLING = 0, 1, 2, 3


@compiled
def parts(level: Floats, slope: Floats) -> tuple[Floats, Indices]:
    """(share of the swing, part) of each bin: over 90 % top, under 10 % bottom, a flank between."""
    low = level.min()
    swing = max(level.max() - low, 1e-12)
    share, part = np.empty(level.size), np.empty(level.size, dtype=np.intp)
    for spot in range(level.size):
        share[spot] = (level[spot] - low) / swing
        if share[spot] >= 0.9:
            part[spot] = TOP
        elif share[spot] <= 0.1:
            part[spot] = BOTTOM
        else:
            part[spot] = RISING if slope[spot] > 0 else FALLING
    return share, part


@compiled
def residuals(
    at: Floats, vacuum: Floats, place: Indices, bin_at: Floats, level: Floats, slope: Floats
) -> Floats:
    """Vacuum of each sample less the common cycle, on the line through its bin."""
    start = level - slope * bin_at
    found = np.empty(at.size)
    for index in range(at.size):
        spot = place[index]
        found[index] = vacuum[index] - start[spot] - slope[spot] * at[index]
    return found


@compiled
def levels_by_cycle(
    residual: Floats, cycle: Indices, place: Indices, part: Indices, wanted: int, cycles: int
) -> tuple[Floats, Floats, float]:
    """(mean residual of each cycle over bins of one part, else 0; samples; sum of squares about it)."""
    total, count = np.zeros(cycles), np.zeros(cycles)
    square = 0.0
    for index in range(residual.size):
        if part[place[index]] == wanted:
            total[cycle[index]] += residual[index]
            count[cycle[index]] += 1
            square += residual[index] * residual[index]
    for number in range(cycles):
        mean = total[number] / max(count[number], 1.0)
        square -= total[number] * mean
        total[number] = mean
    return total, count, square


@compiled
def flank_errors(
    residual: Floats,
    cycle: Indices,
    place: Indices,
    part: Indices,
    share: Floats,
    turn: int,
    above: Floats,
    below: Floats,
) -> tuple[Floats, Indices]:
    """(residual of each sample less what its cycle's levels make there, number of its flank).

    A flank leads from its cycle's low to the high it belongs to: from bin `turn` on a rise is the next
    cycle's. `above` and `below` are the level deviations.
    """
    error, flank = np.empty(residual.size), np.empty(residual.size, dtype=np.intp)
    for index in range(residual.size):
        spot, number = place[index], cycle[index]
        flank[index] = number + (1 if spot >= turn and part[spot] == RISING else 0)
        high, low = above[min(flank[index], above.size - 1)], below[number]
        error[index] = residual[index] - low - share[spot] * (high - low)
    return error, flank


@compiled
def shifts(error: Floats, steep: Floats, flank: Indices, folded: int, flanks: int) -> tuple[Floats, float]:
    """(shift of each flank by least squares, 0 without samples; standard error of a typical one).

    `steep` is the slope at each sample, 0 for one that is on no such flank.
    """
    squares, cross, samples = np.zeros(flanks), np.zeros(flanks), 0
    for index in range(error.size):
        squares[flank[index]] += steep[index] * steep[index]
        cross[flank[index]] += steep[index] * error[index]
        samples += steep[index] != 0
    shift = -cross / np.maximum(squares, 1e-300)
    left = 0.0
    for index in range(error.size):
        left += ((error[index] + steep[index] * shift[flank[index]]) * steep[index]) ** 2
    known = chosen(squares, squares > 0)
    if known.size == 0:
        return shift, inf
    freedom = max(1.0 - folded / max(samples, 1), 0.2)
    return shift, sqrt(left / freedom / max(squares.sum(), 1e-300) / median(known))


@compiled
def steepness(slope: Floats, place: Indices, part: Indices, wanted: int) -> Floats:
    """Slope of the common cycle at each sample, 0 outside the bins of one part."""
    found = np.zeros(place.size)
    for index in range(place.size):
        if part[place[index]] == wanted:
            found[index] = slope[place[index]]
    return found


@compiled
def or_unknown(values: Floats, count: Floats) -> Floats:
    """Values of what was sampled, NaN where nothing was."""
    found = values.copy()
    for index in range(values.size):
        if count[index] == 0:
            found[index] = nan
    return found


@compiled
def noise_of(square: float, samples: int, folded: int) -> float:
    """Standard deviation of single samples about two levels of each folded cycle."""
    return sqrt(max(square, 0.0) / max(samples - 2 * folded, 1))


@compiled
def deviations(
    at: Floats,
    vacuum: Floats,
    cycle: Indices,
    place: Indices,
    bin_at: Floats,
    level: Floats,
    slope: Floats,
    width: float,
    cycles: int,
    folded: int,
) -> tuple[Floats, Floats, Floats, Floats, float, float, float]:
    """Deviations of `cycles` cycles, `folded` of them folded: see `refine.Deviations` for what comes back."""
    share, part = parts(level, slope)
    residual = residuals(at, vacuum, place, bin_at, level, slope)
    above, tops, one = levels_by_cycle(residual, cycle, place, part, TOP, cycles)
    below, bottoms, two = levels_by_cycle(residual, cycle, place, part, BOTTOM, cycles)
    noise = noise_of(one + two, int(tops.sum() + bottoms.sum()), folded)
    turn = first_from(bin_at, width)
    error, flank = flank_errors(residual, cycle, place, part, share, turn, above, below)
    rise, rise_error = shifts(error, steepness(slope, place, part, RISING), flank, folded, cycles + 1)
    fall, _ = shifts(error, steepness(slope, place, part, FALLING), flank, folded, cycles + 1)
    sampled = chosen(tops, tops > 0)
    samples = median(sampled) if sampled.size else 1.0
    return or_unknown(above, tops), or_unknown(below, bottoms), rise, fall[:-1], rise_error, noise, samples
