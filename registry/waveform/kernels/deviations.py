"""How far single cycles are off the common one, see `refine`."""

from math import inf, nan, sqrt

import numpy as np

from registry.waveform.compiled import Indices, Rows, compiled
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
    residual: Floats, cycle: Indices, place: Indices, part: Indices, cycles: int
) -> tuple[Rows, Rows, float]:
    """(mean residual of each cycle, else 0; samples; sum of squares about it); row 0 is top, row 1 bottom.

    Mean residuals are less that of all samples: where smoothing lies beside the samples, all cycles would
    seem to, and what they differ by is all that is asked.
    """
    total, count = np.zeros((2, cycles)), np.zeros((2, cycles))
    square = 0.0
    for index in range(residual.size):
        row = part[place[index]]
        if row <= BOTTOM:
            total[row, cycle[index]] += residual[index]
            count[row, cycle[index]] += 1
            square += residual[index] * residual[index]
    for row in range(2):
        usual = total[row].sum() / max(count[row].sum(), 1.0)
        for number in range(cycles):
            mean = total[row, number] / max(count[row, number], 1.0)
            square -= total[row, number] * mean
            total[row, number] = mean - usual if count[row, number] > 0 else 0.0
    return total, count, square


@compiled
def flank_terms(
    residual: Floats,
    cycle: Indices,
    place: Indices,
    part: Indices,
    share: Floats,
    turn: int,
    levels: Rows,
) -> tuple[Floats, Indices]:
    """(residual of each flank sample less what its cycle's levels make there, number of its flank).

    A flank leads from its cycle's low to the high it belongs to: from bin `turn` on a rise is the next
    cycle's. `levels` holds the level deviations. Samples off the flanks have 0.
    """
    last = levels.shape[1] - 1
    error, flank = np.zeros(residual.size), np.zeros(residual.size, dtype=np.intp)
    for index in range(residual.size):
        spot, number = place[index], cycle[index]
        if part[spot] >= RISING:
            flank[index] = number + (1 if spot >= turn and part[spot] == RISING else 0)
            high, low = levels[TOP, min(flank[index], last)], levels[BOTTOM, number]
            error[index] = residual[index] - low - share[spot] * (high - low)
    return error, flank


@compiled
def typical_error(left: float, squares: Floats, samples: float, folded: int) -> float:
    """Standard error of a typical shift from the residuals left over, each times its slope."""
    known = chosen(squares, squares > 0)
    if known.size == 0:
        return inf
    freedom = max(1.0 - folded / max(samples, 1.0), 0.2)
    return sqrt(left / freedom / max(squares.sum(), 1e-300) / median(known))


@compiled
def shifts(
    error: Floats, flank: Indices, place: Indices, part: Indices, slope: Floats, folded: int, flanks: int
) -> tuple[Rows, float]:
    """(shift of each flank by least squares, 0 without samples; standard error of a typical rise).

    Row 0 holds rises, row 1 falls.
    """
    squares, shift = np.zeros((2, flanks)), np.zeros((2, flanks))
    samples, left = 0.0, 0.0
    for index in range(error.size):
        spot = place[index]
        if part[spot] >= RISING:
            row = part[spot] - RISING
            squares[row, flank[index]] += slope[spot] * slope[spot]
            shift[row, flank[index]] -= slope[spot] * error[index]
    for row in range(2):
        for number in range(flanks):
            shift[row, number] /= max(squares[row, number], 1e-300)
    for index in range(error.size):
        spot = place[index]
        if part[spot] == RISING:
            samples += 1
            left += ((error[index] + slope[spot] * shift[0, flank[index]]) * slope[spot]) ** 2
    return shift, typical_error(left, squares[0], samples, folded)


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
def noise_throughout(
    error: Floats, flank: Indices, place: Indices, part: Indices, slope: Floats, shift: Rows, flat: float,
    folded: int,
) -> float:  # fmt: skip
    """Standard deviation of single samples all over a cycle. `flat` is the sum of squares off the flanks.

    On flanks it is larger where the clock's steps are not logged. Two levels and two shifts are taken from
    each folded cycle.
    """
    left = max(flat, 0.0)
    for index in range(error.size):
        spot = place[index]
        if part[spot] >= RISING:
            left += (error[index] + slope[spot] * shift[part[spot] - RISING, flank[index]]) ** 2
    return sqrt(left / max(error.size - 4 * folded, 1))


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
) -> tuple[Floats, Floats, Floats, Floats, float, float, float, float]:
    """Deviations of `cycles` cycles, `folded` of them folded: see `refine.Deviations` for what comes back."""
    share, part = parts(level, slope)
    residual = residuals(at, vacuum, place, bin_at, level, slope)
    levels, counts, square = levels_by_cycle(residual, cycle, place, part, cycles)
    noise = noise_of(square, int(counts.sum()), folded)
    turn = first_from(bin_at, width)
    error, flank = flank_terms(residual, cycle, place, part, share, turn, levels)
    shift, rise_error = shifts(error, flank, place, part, slope, folded, cycles + 1)
    throughout = noise_throughout(error, flank, place, part, slope, shift, square, folded)
    tops, bottoms = or_unknown(levels[TOP], counts[TOP]), or_unknown(levels[BOTTOM], counts[BOTTOM])
    sampled = chosen(counts[TOP], counts[TOP] > 0)
    samples = median(sampled) if sampled.size else 1.0
    return tops, bottoms, shift[0], shift[1, :-1], rise_error, noise, throughout, samples
