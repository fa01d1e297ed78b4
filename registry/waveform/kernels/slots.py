"""Cycles that were due, and which of them are losses, see `losses`."""

from math import nan

import numpy as np

from registry.waveform.compiled import Indices, Rows, compiled
from registry.waveform.types import Flags, Floats

from .folding import overlapping
from .order import chosen, first_from, median, running_median

NEIGHBOURS = 9  # cycles against whose median each is judged
RUN_UP_LACK = 0.03  # of the neighbours' vacuum: what the cycle after a build-up still lacks
NEXT_TO_NOTHING = 0.06  # of the swing, on average over the hold: no vacuum came
CLEAR_OF = 7.0  # robust standard deviations of the pulses' own variation
WHOLE, COLLAPSED, WEAK, MISSING = 0, 1, 2, 3


@compiled
def due(
    rise: Floats, period: float, ends: tuple[float, float], hold_to: float
) -> tuple[Floats, Indices, Flags]:
    """(start of each due cycle, the number of its rise or -1, whether the next rise ends it in due time).

    Due are all rises, those that should have come between them, and at either end of the trace, `ends`, one
    at most: a longer stretch is open air or a pump at rest.
    """
    turns = np.maximum(np.rint((rise[1:] - rise[:-1]) / period), 1.0).astype(np.intp)
    size = turns.sum() + 3
    start, number = np.empty(size), np.full(size, -1, dtype=np.intp)
    followed = np.zeros(size, dtype=np.bool_)
    count = 0
    if period <= rise[0] - ends[0] < 2 * period:
        start[0] = rise[0] - period
        count = 1
    for cycle in range(rise.size):
        number[count] = cycle
        last = cycle == turns.size
        followed[count] = not last and turns[cycle] == 1
        for step in range(1 if last else turns[cycle]):
            apart = 0.0 if last else (rise[cycle + 1] - rise[cycle]) / turns[cycle]
            start[count] = rise[cycle] + step * apart
            count += 1
    if period + hold_to <= ends[1] - rise[-1] < 2 * period:
        start[count] = rise[-1] + period
        count += 1
    return start[:count], number[:count], followed[:count]


@compiled
def seen(start: Floats, end: float, hold_to: float, gaps: Rows, last: float) -> Flags:
    """The slots whose pulse was recorded: none in a gap, none cut off by the end."""
    missed = overlapping(start, start + end, gaps)
    return ~missed & (start + hold_to <= last)


@compiled
def window_means(seconds: Floats, vacuum: Floats, start: Floats, first_s: float, last_s: float) -> Floats:
    """Mean vacuum between two instants of each slot; the nearest sample where none lies between."""
    means = np.empty(start.size)
    for slot in range(start.size):
        first = min(first_from(seconds, start[slot] + first_s), seconds.size - 1)
        last = max(first_from(seconds, start[slot] + last_s), first + 1)
        total = 0.0
        for index in range(first, last):
            total += vacuum[index]
        means[slot] = total / (last - first)
    return means


@compiled
def lacks(means: Floats, came: Flags, low: float, least: float) -> Floats:
    """What each slot lacks of its neighbours' vacuum above `low`, as a share of it or of `least`.

    Neighbours are cycles whose rise came, so that a row of missing ones is not taken for the usual; between
    them the usual is a straight line.
    """
    around = running_median(chosen(means, came), NEIGHBOURS)
    places = np.flatnonzero(came)
    lack = np.empty(means.size)
    after = 0
    for slot in range(means.size):
        while after < places.size and places[after] < slot:
            after += 1
        if after == 0 or (after < places.size and places[after] == slot):
            near = around[after]
        elif after == places.size:
            near = around[-1]
        else:
            slope = (around[after] - around[after - 1]) / (places[after] - places[after - 1])
            near = slope * (slot - places[after - 1]) + around[after - 1]
        lack[slot] = (near - means[slot]) / max(near - low, least)
    return lack


@compiled
def highest(seconds: Floats, vacuum: Floats, first_s: float, last_s: float) -> float:
    """Highest sample between two instants, the next one where none lies between, NaN beyond the end."""
    first, last = first_from(seconds, first_s), first_from(seconds, last_s)
    if first >= vacuum.size:
        return nan
    top = float(vacuum[first])
    for index in range(first + 1, last):
        top = max(top, vacuum[index])
    return top


@compiled
def build_up(kinds: Indices, means: Floats, lack: Floats) -> int:
    """How many cycles at the start rise towards the first that is strong enough: no losses.

    The build-up shows in that one: it still lacks a little.
    """
    leading = 0
    while leading < kinds.size and (kinds[leading] == WEAK or kinds[leading] == COLLAPSED):
        leading += 1
    if not 1 <= leading <= kinds.size // 3 or not (leading > 1 or lack[leading] > RUN_UP_LACK):
        return 0
    for slot in range(leading):
        if not means[slot + 1] > means[slot]:
            return 0
    return leading


@compiled
def suspects(hold: Floats, whole: Floats, hold_deficit: float, pulse_deficit: float) -> Flags:
    """Cycles that lack much of their hold, or more of the whole pulse than how pulses vary in this trace."""
    usual = 1.4826 * median(np.abs(whole - median(whole)))
    return (hold > hold_deficit) | (whole > max(pulse_deficit, CLEAR_OF * usual))


@compiled
def kind_of(came: bool, lost_hold: bool, share: float, held: float, high_reference: float) -> int:
    """The kind of loss of a suspect that reaches one share of the swing and holds another, or none."""
    if not came:
        return WEAK if held > NEXT_TO_NOTHING else MISSING
    if lost_hold or share > high_reference:
        return COLLAPSED if share > 0.8 else WEAK
    return WHOLE


@compiled
def classify(
    seconds: Floats,
    vacuum: Floats,
    start: Floats,
    number: Indices,
    period: float,
    pulse: tuple[float, float, float, float, float],
    limits: tuple[float, float, float],
) -> tuple[Indices, Floats]:
    """(kind of each slot, its mean vacuum over the hold).

    `pulse` is start and end of the hold, end of the pulse, low and high level; `limits` hold_deficit,
    pulse_deficit and high_reference of the edition.
    """
    hold_from, hold_to, end, low, high = pulse
    came = number >= 0
    means = window_means(seconds, vacuum, start, hold_from, hold_to)
    hold = lacks(means, came, low, 0.2 * (high - low))
    whole = lacks(window_means(seconds, vacuum, start, 0.0, end), came, low, 0.2 * (high - low))
    suspect = suspects(hold, whole, limits[0], limits[1])
    reach = min(hold_to + 0.15 * period, 0.9 * period)
    kinds = np.zeros(start.size, dtype=np.intp)
    for slot in range(start.size):
        if suspect[slot]:
            top = highest(seconds, vacuum, start[slot] - 0.1 * period, start[slot] + reach)
            lost = hold[slot] > limits[0]
            share, held = (top - low) / (high - low), (means[slot] - low) / (high - low)
            kinds[slot] = kind_of(came[slot], lost, share, held, limits[2])
    kinds[: build_up(kinds, means, hold)] = WHOLE
    return kinds, means


@compiled
def at_slots(values: Floats, number: Indices, fit: Flags) -> Floats:
    """For each slot that is `fit` the value of its rise's number, NaN for others."""
    found = np.full(number.size, nan)
    for slot in range(number.size):
        if fit[slot]:
            found[slot] = values[number[slot]]
    return found


@compiled
def fitness(
    start: Floats, number: Indices, followed: Flags, kinds: Indices, use: Flags, period: float, gaps: Rows
) -> tuple[Flags, Flags]:
    """(slots that show a usual whole cycle, slots whose period is known: whole, ended in time, in no gap)."""
    usual, ended = np.zeros(start.size, dtype=np.bool_), ~overlapping(start, start + period, gaps)
    for slot in range(start.size):
        whole = 0 <= number[slot] < use.size and kinds[slot] == WHOLE
        usual[slot] = whole and use[number[slot]]
        ended[slot] = whole and followed[slot] and ended[slot]
    return usual, ended
