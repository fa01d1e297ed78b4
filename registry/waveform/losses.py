"""Loss events: cycles in which vacuum is lost or never built.

The pump keeps its own time, so where no rise came when one was due, a cycle was due all the same. Each due
cycle is judged by how much of the swing it lacks on average over the hold, against its neighbours, so that a
slow drift is no loss.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .editions import Edition
from .order import median, running_median
from .types import Flags, Floats, LossKind

Indices = NDArray[np.intp]

NEIGHBOURS = 9  # cycles against whose median each is judged
RUN_UP_LACK = 0.03  # of the neighbours' vacuum: what the cycle after a build-up still lacks
CLEAR_OF = 7.0  # robust standard deviations of the pulses' own variation


@dataclass(frozen=True, eq=False)
class Slots:
    """Every due cycle in order: when it starts, the number of its rise, or -1 where no rise came.

    `followed` marks cycles that the next rise ends in due time, so that their period is known.
    """

    start: Floats
    rise: Indices
    followed: Flags


@dataclass(frozen=True)
class Pulse:
    """A whole pulse: seconds from its rise to the start and the end of hold and to its own end; levels."""

    hold_from: float
    hold_to: float
    end: float
    low: float
    high: float

    @property
    def swing(self) -> float:
        """High less low level, mmHg."""
        return self.high - self.low


def due_cycles(rise: Floats, period: float, first: float, last: float, hold_to: float) -> Slots:
    """Slots for all rises and for those that were due between them, before the first and after the last.

    At the ends one cycle at most is taken as due: a longer stretch is open air or a pump at rest.
    """
    turns = np.maximum(np.rint(np.diff(rise) / period).astype(np.intp), 1)
    number = np.repeat(np.arange(rise.size - 1), turns)
    step = np.arange(number.size) - np.repeat(np.cumsum(turns) - turns, turns)
    start = rise[number] + step * (np.diff(rise) / turns)[number]
    start = np.append(start, rise[-1])
    which = np.append(np.where(step == 0, number, -1), rise.size - 1)
    followed = np.append((step == 0) & (turns[number] == 1), [False])
    if period <= rise[0] - first < 2 * period:
        start, which = np.insert(start, 0, rise[0] - period), np.insert(which, 0, -1)
        followed = np.insert(followed, 0, False)
    if period + hold_to <= last - rise[-1] < 2 * period:
        start, which = np.append(start, rise[-1] + period), np.append(which, -1)
        followed = np.append(followed, False)
    return Slots(start, which, followed)


def window_means(seconds: Floats, total: Floats, first_s: Floats, last_s: Floats) -> Floats:
    """Mean vacuum between two instants of each slot; the nearest sample where none lies between.

    `total` is the running sum of vacuum, one longer than `seconds`, from 0.
    """
    bounds = np.searchsorted(seconds, np.concatenate([first_s, last_s]))
    first, last = bounds[: first_s.size], bounds[first_s.size :]
    first = np.minimum(first, seconds.size - 1)
    last = np.minimum(np.maximum(last, first + 1), seconds.size)
    return np.asarray((total[last] - total[first]) / (last - first))


def deficits(seconds: Floats, vacuum: Floats, slots: Slots, pulse: Pulse) -> tuple[Floats, Floats, Floats]:
    """(lack over the hold, over the whole pulse, hold means); lacks are shares of what neighbours show.

    Neighbours are cycles whose rise came, so that a row of missing ones is not taken for the usual.
    """
    total = np.concatenate([[0.0], np.cumsum(vacuum)])
    start, came = slots.start, np.flatnonzero(slots.rise >= 0)
    hold = window_means(seconds, total, start + pulse.hold_from, start + pulse.hold_to)
    whole = window_means(seconds, total, start, start + pulse.end)
    least = 0.2 * pulse.swing
    lacks = []
    for means in (hold, whole):
        near = running_median(means[came], NEIGHBOURS)
        if came.size < start.size:
            near = np.interp(np.arange(start.size), came, near)
        lacks.append((near - means) / np.maximum(near - pulse.low, least))
    return lacks[0], lacks[1], hold


def _peaks(seconds: Floats, vacuum: Floats, start: Floats, period: float, pulse: Pulse) -> Floats:
    """Highest sample of each slot, from shortly before its start until shortly after its hold."""
    reach = min(pulse.hold_to + 0.15 * period, 0.9 * period)
    first = np.searchsorted(seconds, start - 0.1 * period)
    last = np.searchsorted(seconds, start + reach)
    return np.array(
        [
            vacuum[a : max(b, a + 1)].max() if a < vacuum.size else np.nan
            for a, b in zip(first, last, strict=True)
        ]
    )


def classify(
    seconds: Floats, vacuum: Floats, slots: Slots, pulse: Pulse, period: float, edition: Edition
) -> tuple[tuple[LossKind, ...], Floats]:
    """(kind of loss of each slot, "" for a whole cycle; its mean vacuum over the hold).

    A cycle is lost that lacks much of its hold, or that reaches the high level and ends early, clear of how
    pulses vary in this trace.
    """
    hold, whole, means = deficits(seconds, vacuum, slots, pulse)
    usual = 1.4826 * median(np.abs(whole - median(whole)))
    short = whole > max(edition.pulse_deficit, CLEAR_OF * usual)
    suspects = np.flatnonzero((hold > edition.hold_deficit) | short)
    kinds: list[LossKind] = [""] * slots.start.size
    tops = _peaks(seconds, vacuum, slots.start[suspects], period, pulse)
    reached = (tops - pulse.low) / pulse.swing
    for slot, share in zip(suspects, reached, strict=True):
        if slots.rise[slot] < 0:
            kinds[slot] = "weak" if share > 0.2 else "missing"
        elif hold[slot] > edition.hold_deficit or share > edition.high_reference:
            kinds[slot] = "collapsed" if share > 0.8 else "weak"
    return _without_run_up(kinds, means, hold), means


def _without_run_up(kinds: list[LossKind], means: Floats, lack: Floats) -> tuple[LossKind, ...]:
    """A pump that builds up over its first cycles loses nothing: rising cycles there are whole.

    The build-up shows in the first cycle that is strong enough: it still lacks a little.
    """
    leading = next(
        (index for index, kind in enumerate(kinds) if kind not in {"weak", "collapsed"}), len(kinds)
    )
    rising = bool(np.all(np.diff(means[: leading + 1]) > 0))
    if 1 <= leading <= len(kinds) // 3 and rising and (leading > 1 or lack[leading] > RUN_UP_LACK):
        kinds[:leading] = [""] * leading
    return tuple(kinds)
