"""From a conditioned signal to the common cycle, the deviations of single cycles, and the loss events."""

from dataclasses import dataclass, replace

import numpy as np

from .condition import Signal
from .cycles import Crossings
from .editions import Edition
from .losses import Pulse, Slots, classify, due_cycles
from .order import dot, median, running_median
from .profile import Fold, Profile, fold, rough, smooth
from .refine import Deviations, deviations, mark
from .shape import Shape, shape
from .types import Flags, Floats, LossKind

STEADY = 2.0  # reading errors that crossings of a steady pump may stray from an even beat
FURTHEST_SHIFT = 0.1  # of the shorter of width and rest: more is no refinement of a crossing
HEIGHT = 0.12  # of the swing: cycles higher or lower than their neighbours by more are left out likewise
USUAL = 0.2  # cycles whose period or width is further from the median are left out of the common cycle


@dataclass(frozen=True, eq=False)
class Analysis:
    """All that the metrics are computed from.

    Arrays run over slots (due cycles): `hold` is mean vacuum over the hold, `peak` and `residual` are level
    deviations from the common cycle, `period` and `duty` are NaN where unknown.
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
    mean_period: float


def usual_cycles(signal: Signal, crossings: Crossings) -> Flags:
    """Cycles fit for folding: of usual period, width and height among their neighbours, without a gap."""
    rise = crossings.rise
    period = np.diff(rise)
    width = crossings.fall[: period.size] - rise[:-1]
    usual = np.abs(period / median(period) - 1) < USUAL
    middle = median(width[np.isfinite(width)])
    usual &= np.abs(width - middle) < max(USUAL * middle, 0.05 * median(period))
    bounds = np.minimum(np.searchsorted(signal.seconds, rise), signal.seconds.size - 1)
    top = np.maximum.reduceat(signal.vacuum, bounds)[:-1]
    usual &= np.abs(top - running_median(top, 9)) < HEIGHT * (crossings.high - crossings.low)
    usual &= ~overlapping(rise[:-1], rise[1:], signal.gaps)
    return np.asarray(usual)


def overlapping(start: Floats, end: Floats, gaps: Floats) -> Flags:
    """Which of the stretches start..end meet a gap."""
    met = np.zeros(start.size, dtype=bool)
    for before, after in gaps:
        met |= (start < after) & (end > before)
    return met


def analyse(signal: Signal, crossings: Crossings, edition: Edition) -> Analysis | None:
    """The analysis, or None when fewer than two cycles are fit for folding or no whole pulse shows."""
    use = usual_cycles(signal, crossings)
    if use.sum() < 2:
        return None
    floor = max(signal.resolution / np.sqrt(12.0), 1e-9 * (crossings.high - crossings.low))
    rise, fall = crossings.rise, crossings.fall
    first = fold(signal.seconds, signal.vacuum, rise, fall, use)
    rise, fall, found = _sharpen(first, rough(first), rise, fall)
    rise, fall = steadied(rise, fall, use, found.rise_error_s)
    folded = fold(signal.seconds, signal.vacuum, rise, fall, use)
    profile = smooth(folded, floor)
    rise, fall, found = _sharpen(folded, profile, rise, fall)
    outline = shape(profile, folded.width, edition)
    if outline is None or outline.swing <= 0:
        return None
    return _judge(signal, (rise, fall, use), (folded, profile, found, outline), edition)


def steadied(rise: Floats, fall: Floats, use: Flags, error: float) -> tuple[Floats, Floats]:
    """Crossings on an even beat where their own reading error explains all that they stray from it.

    Folding on crossings that are noise smears the profile, worst where the sampling keeps step with the pump
    and samples of all cycles lie at the same few places.
    """
    beat = np.diff(rise)
    number = np.concatenate([[0.0], np.cumsum(np.maximum(np.rint(beat / median(beat)), 1.0))])
    away = number - number.mean()
    line = rise.mean() + away * (dot(away, rise) / dot(away, away))
    if float(np.std(rise - line)) > STEADY * error:
        return rise, fall
    width = fall[: use.size] - rise[:-1]
    usual = float(width[use].mean())
    steady = float(np.std(width[use])) <= STEADY * np.sqrt(2.0) * error
    moved = np.where(use, line[:-1] + usual, fall[: use.size]) if steady else fall[: use.size]
    return line, np.concatenate([moved, fall[use.size :]])


def _sharpen(folded: Fold, profile: Profile, rise: Floats, fall: Floats) -> tuple[Floats, Floats, Deviations]:
    """Crossings moved to where the common cycle puts them, and all deviations from it."""
    marks = mark(profile, float(profile.level.min()), float(profile.level.max()))
    found = deviations(folded, profile, marks, rise.size - 1)
    most = FURTHEST_SHIFT * min(folded.width, folded.period - folded.width)
    later = np.minimum(np.maximum(found.rise_s, -most), most)
    turned = np.minimum(np.maximum(np.append(found.fall_s, 0.0)[: fall.size], -most), most)
    return rise + later, fall + turned, found


def _judge(
    signal: Signal,
    turns: tuple[Floats, Floats, Flags],
    common: tuple[Fold, Profile, Deviations, Shape],
    edition: Edition,
) -> Analysis:
    """Place each due cycle in the table and say which are losses."""
    rise, fall, use = turns
    folded, profile, found, outline = common
    period = float(np.diff(rise)[use].mean())
    slots = _seen(due_cycles(rise, period, *signal.ends, outline.hold_to), signal, outline)
    pulse = Pulse(outline.hold_from, outline.hold_to, outline.end, outline.low.value, outline.high.value)
    loss, hold = classify(signal.seconds, signal.vacuum, slots, pulse, period, edition)
    length = np.diff(rise)
    duty = (fall[: use.size] - rise[:-1]) / length
    number = np.minimum(np.maximum(slots.rise, 0), use.size - 1)
    whole = (slots.rise >= 0) & (slots.rise < use.size) & np.array([not kind for kind in loss], dtype=bool)
    usual = whole & use[number]
    ended = whole & slots.followed & ~overlapping(slots.start, slots.start + period, signal.gaps)
    return Analysis(
        outline,
        profile,
        found,
        slots,
        loss,
        hold,
        np.where(usual, found.top[number], np.nan),
        np.where(usual, found.bottom[number], np.nan),
        np.where(ended, length[number], np.nan),
        np.where(ended & usual, duty[number], np.nan),
        folded.count,
        period,
    )


def _seen(slots: Slots, signal: Signal, outline: Shape) -> Slots:
    """The slots whose pulse was recorded: none in a gap, none cut off by the end."""
    seen = ~overlapping(slots.start, slots.start + outline.end, signal.gaps)
    seen &= slots.start + outline.hold_to <= signal.ends[1]
    return replace(slots, start=slots.start[seen], rise=slots.rise[seen], followed=slots.followed[seen])
