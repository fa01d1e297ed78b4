"""When the motor draws, when it holds and when the valve releases, cycle by cycle."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Drives = tuple[Array, Array, Array]

BUILT, STUCK, COLLAPSED = 0, 1, 2
"""What becomes of a cycle: built as meant, never built (the membrane sticks to its seat), or lost half-way
through the pull (the release valve does not stay shut)."""


@dataclass(frozen=True)
class Timing:
    """The controller's programme for one setting at full motor speed, in seconds."""

    pull_s: float
    hold_s: float
    release_s: float

    @property
    def period_s(self) -> float:
        """Length of one cycle."""
        return self.pull_s + self.hold_s + self.release_s


@dataclass(frozen=True)
class Schedule:
    """The cycles of one run; arrays with one value per cycle, times in seconds."""

    start: Array
    pull_end: Array
    release: Array
    end: Array
    strength: Array
    """flow of the cycle's pull relative to the run's mean"""
    fate: NDArray[np.int64]


@dataclass(frozen=True)
class Habits:
    """How steadily a pump repeats itself."""

    speed: float
    """motor speed relative to nominal, with the unit's and the battery's share in it"""
    timed_by_motor: bool
    """True when cams time the cycle, so that a slow motor also cycles slowly"""
    sag_per_min: float
    """share of speed lost per minute of running on battery"""
    period_scatter: float
    flow_scatter: float
    stuck_share: float
    collapsed_share: float


def schedule(
    timing: Timing, habits: Habits, from_s: float, to_s: float, rng: np.random.Generator
) -> Schedule:
    """Lay out the cycles of a run; the first starts at `from_s`, all start before `to_s`.

    The last cycle may reach past the end. Loss events fall on cycles independently.
    """
    count = int(np.ceil(1.5 * (to_s - from_s) / timing.period_s)) + 2
    pace = np.full(count, 1.0)
    if habits.timed_by_motor:
        minutes = np.arange(count) * timing.period_s / 60.0
        pace = 1.0 / (habits.speed * (1.0 - habits.sag_per_min * minutes))
    stretch = pace * (1.0 + habits.period_scatter * rng.standard_normal(count))
    end = from_s + np.cumsum(timing.period_s * stretch)
    start = end - timing.period_s * stretch
    pull_end = start + timing.pull_s * stretch
    release = pull_end + timing.hold_s * stretch
    strength = 1.0 + habits.flow_scatter * rng.standard_normal(count)
    kept = start < to_s
    fate = _fates(count, habits, rng)
    return Schedule(start[kept], pull_end[kept], release[kept], end[kept], strength[kept], fate[kept])


def _fates(count: int, habits: Habits, rng: np.random.Generator) -> NDArray[np.int64]:
    draw = rng.random(count)
    fate = np.where(draw < habits.stuck_share, STUCK, BUILT)
    collapsed = (draw >= habits.stuck_share) & (draw < habits.stuck_share + habits.collapsed_share)
    return np.where(collapsed, COLLAPSED, fate).astype(np.int64)


def drives(plan: Schedule, habits: Habits, edges: Array) -> Drives:
    """What the controller does between neighbouring `edges` (s): speed, valve and membrane mobility.

    Each is a mean over the step, so cycle timing is not rounded to the step. Shapes: (len(edges) - 1,).
    """
    sag = 1.0 - habits.sag_per_min * edges[:-1] / 60.0
    speed = habits.speed * sag * _share(plan.start, plan.pull_end, plan.strength, edges)
    ones = np.ones_like(plan.start)
    valve = _share(_valve_opens(plan), plan.end, ones, edges)
    stuck = _share(plan.start, plan.release, (plan.fate == STUCK).astype(float), edges)
    return speed, valve, 1.0 - 0.998 * stuck


def _valve_opens(plan: Schedule) -> Array:
    return np.where(plan.fate == COLLAPSED, plan.start + 0.4 * (plan.pull_end - plan.start), plan.release)


def _share(on: Array, off: Array, weight: Array, edges: Array) -> Array:
    """Mean over each step of a weight that acts from `on` to `off`; the intervals do not overlap."""
    area = np.cumsum(weight * (off - on))
    knots = np.concatenate(([edges[0] - 1.0], np.stack((on, off), axis=1).ravel()))
    height = np.concatenate(([0.0], np.stack((area - weight * (off - on), area), axis=1).ravel()))
    return np.asarray(np.diff(np.interp(edges, knots, height)) / np.diff(edges), dtype=float)
