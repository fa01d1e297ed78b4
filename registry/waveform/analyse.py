"""From a conditioned signal to the common cycle, the deviations of single cycles, and the loss events."""

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np

from . import kernels
from .condition import Signal
from .cycles import Crossings
from .editions import Edition
from .losses import KINDS, Pulse, Slots, classify, due_cycles, seen
from .profile import Fold, Profile, fold, rough, smooth
from .refine import Deviations, deviations
from .shape import Shape, shape
from .types import Flags, Floats, LossKind

UNLIKE = 0.003  # of the swing: cycles that differ by less are folded as they are
FURTHEST_SHIFT = 0.1  # of the shorter of width and rest: more is no refinement of a crossing


@dataclass(frozen=True, eq=False)
class Analysis:
    """All that the metrics are computed from.

    Arrays run over slots (due cycles): `hold` is mean vacuum over the hold, `peak` and `residual` are level
    deviations from the common cycle, `period` and `duty` are NaN where unknown. `between` is what lies
    between samples, see `kernels.course.between_samples`.
    """

    shape: Shape
    profile: Profile
    deviations: Deviations
    slots: Slots
    loss: tuple[LossKind, ...]
    hold: Floats
    peak: Floats
    residual: Floats
    period: Floats
    duty: Floats
    folded: int
    between: tuple[float, float]
    mean_period: float


def analyse(signal: Signal, crossings: Crossings, edition: Edition) -> Analysis | None:
    """The analysis, or None when fewer than two cycles are fit for folding or no whole pulse shows."""
    rise, fall, swing = crossings.rise, crossings.fall, crossings.high - crossings.low
    use = kernels.folding.usual_cycles(signal.seconds, signal.vacuum, rise, fall, signal.gaps, swing)
    if np.count_nonzero(use) < 2:
        return None
    floor = max(signal.resolution / sqrt(12.0), 1e-9 * swing)
    first = fold(signal.seconds, signal.vacuum, rise, fall, use)
    rise, fall, found = _sharpen(first, rough(first), rise, fall)
    rise, fall = kernels.folding.steadied(rise, fall, use, found.rise_error_s)
    folded = fold(signal.seconds, signal.vacuum, rise, fall, use)
    profile = smooth(folded, floor)
    sharper = _sharpen(folded, profile, rise, fall)
    alike = _levelled(folded, profile, sharper[2], UNLIKE * swing)
    if alike is not None:
        profile = smooth(alike, floor)
        sharper = _sharpen(folded, profile, rise, fall)
    rise, fall, found = sharper
    outline = shape(profile, folded.width, edition)
    if outline is None or outline.swing <= 0:
        return None
    return _judge(signal, (rise, fall, use), (folded, profile, found, outline), edition)


def _levelled(folded: Fold, profile: Profile, found: Deviations, least: float) -> Fold | None:
    """The fold without what sets its cycles apart in level, as far as that is theirs and not noise.

    None where cycles differ by less than `least` mmHg (standard deviation).
    """
    noise, share = found.noise / sqrt(max(found.top_samples, 1.0)), kernels.folding.own_share
    above, below = share(found.top, noise, least), share(found.bottom, noise, least)
    if above == 0 and below == 0:
        return None
    own = kernels.folding.levelled(
        folded.vacuum, folded.cycle, profile.place, profile.level, above * found.top, below * found.bottom
    )
    return replace(folded, vacuum=own)


def _sharpen(folded: Fold, profile: Profile, rise: Floats, fall: Floats) -> tuple[Floats, Floats, Deviations]:
    """Crossings moved to where the common cycle puts them, and all deviations from it."""
    found = deviations(folded, profile, rise.size - 1)
    most = FURTHEST_SHIFT * min(folded.width, folded.period - folded.width)
    shifted = kernels.folding.shifted
    return shifted(rise, found.rise_s, most), shifted(fall, found.fall_s, most), found


def _judge(
    signal: Signal,
    turns: tuple[Floats, Floats, Flags],
    common: tuple[Fold, Profile, Deviations, Shape],
    edition: Edition,
) -> Analysis:
    """Place each due cycle in the table and say which are losses."""
    rise, fall, use = turns
    folded, profile, found, outline = common
    period = kernels.folding.mean_period(rise, use)
    pulse = Pulse(outline.hold_from, outline.hold_to, outline.end, outline.low.value, outline.high.value)
    slots = due_cycles(rise, period, *signal.ends, pulse.hold_to)
    slots = seen(slots, pulse.end, pulse.hold_to, signal.gaps, signal.ends[1])
    kinds, hold = classify(signal.seconds, signal.vacuum, slots, pulse, period, edition)
    number, at_slots = slots.rise, kernels.slots.at_slots
    usual, ended = kernels.slots.fitness(slots.start, number, slots.followed, kinds, use, period, signal.gaps)
    length = np.diff(rise)
    return Analysis(
        outline,
        profile,
        found,
        slots,
        tuple(KINDS[kind] for kind in kinds.tolist()),
        hold,
        at_slots(found.top, number, usual),
        at_slots(found.bottom, number, usual),
        at_slots(length, number, ended),
        at_slots((fall[: use.size] - rise[:-1]) / length, number, ended & usual),
        folded.count,
        kernels.course.between_samples(
            folded.at, folded.cycle, profile.place, profile.at, profile.level, profile.slope, folded.period
        ),
        period,
    )
