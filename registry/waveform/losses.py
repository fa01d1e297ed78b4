"""Loss events: cycles in which vacuum is lost or never built.

The pump keeps its own time, so where no rise came when one was due, a cycle was due all the same. Each due
cycle is judged by how much of the swing it lacks on average over the hold, against its neighbours, so that a
slow drift is no loss.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from . import kernels
from .editions import Edition
from .types import Flags, Floats, LossKind

Indices = NDArray[np.intp]
KINDS: tuple[LossKind, ...] = ("", "collapsed", "weak", "missing")  # by the kernel's numbers


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


def due_cycles(rise: Floats, period: float, first: float, last: float, hold_to: float) -> Slots:
    """Slots for all rises and for those that were due between them, before the first and after the last.

    At the ends one cycle at most is taken as due: a longer stretch is open air or a pump at rest.
    """
    return Slots(*kernels.slots.due(rise, period, (first, last), hold_to))


def seen(slots: Slots, end: float, hold_to: float, gaps: Floats, last: float) -> Slots:
    """The slots whose pulse, of length `end`, was recorded: none in a gap, none cut off at `last`."""
    there = kernels.slots.seen(slots.start, end, hold_to, gaps, last)
    if there.all():
        return slots
    return Slots(slots.start[there], slots.rise[there], slots.followed[there])


def classify(
    seconds: Floats, vacuum: Floats, slots: Slots, pulse: Pulse, period: float, edition: Edition
) -> tuple[Indices, Floats]:
    """(kind of loss of each slot as its place in `KINDS`; its mean vacuum over the hold).

    A cycle is lost that lacks much of its hold, or that reaches the high level and ends early, clear of how
    pulses vary in this trace. A pump that builds up over its first cycles loses nothing: rising cycles there
    are whole.
    """
    return kernels.slots.classify(
        seconds,
        vacuum,
        slots.start,
        slots.rise,
        period,
        (pulse.hold_from, pulse.hold_to, pulse.end, pulse.low, pulse.high),
        (edition.hold_deficit, edition.pulse_deficit, edition.high_reference),
    )
