"""Levels and times of the common cycle: state levels, transition durations, hold, duty, steepest rise.

Definitions follow IEC 60469 / IEEE 181: the 10 % and 90 % instants are those nearest the mid-reference
crossing on either side; levels between bins are joined by straight lines.
"""

from dataclasses import dataclass

import numpy as np

from .editions import Edition
from .extreme import Level, highest
from .profile import Profile
from .types import Flags, Floats


@dataclass(frozen=True)
class Timed:
    """A time in seconds with its standard error."""

    value: float
    error: float


@dataclass(frozen=True)
class Shape:
    """What one profile shows: `rise_s`, `fall_s` at mid-reference; the hold is `hold_from`..`hold_to`."""

    high: Level
    low: Level
    rise_s: float
    fall_s: float
    hold_from: float
    hold_to: float
    pull: Timed
    release: Timed
    hold: Timed
    width: Timed
    steepest: Timed

    @property
    def swing(self) -> float:
        """High less low level, mmHg."""
        return self.high.value - self.low.value


def levels(profile: Profile) -> tuple[Level, Level]:
    """(high, low) level of the profile."""
    depth = 0.25 * float(np.ptp(profile.level))
    top = int(np.argmax(profile.level - profile.error))
    bottom = int(np.argmin(profile.level + profile.error))
    high = highest(profile.at, profile.raw, profile.weight, top, profile.period, depth)
    turned = highest(profile.at, -profile.raw, profile.weight, bottom, profile.period, depth)
    return high, Level(-turned.value, turned.error, turned.at)


def shape(profile: Profile, width: float, edition: Edition) -> Shape | None:
    """The shape of a profile whose falling crossing lies near `width`; None where a flank is not whole."""
    high, low = levels(profile)
    line = _Line(profile, width)
    marks = (edition.low_reference, edition.mid_reference, edition.high_reference)
    wanted = [low.value + share * (high.value - low.value) for share in marks]
    rise = [line.rising(level) for level in wanted]
    fall = [line.falling(level) for level in wanted]
    if not np.all(np.isfinite(rise + fall)):
        return None
    errors = [_level_error(share, high.error, low.error) for share in marks]
    ups = [line.time_error(at, error) for at, error in zip(rise, errors, strict=True)]
    downs = [line.time_error(at, error) for at, error in zip(fall, errors, strict=True)]
    return Shape(
        high,
        low,
        rise[1],
        fall[1],
        rise[2],
        fall[2],
        Timed(rise[2] - rise[0], float(np.hypot(ups[0], ups[2]))),
        Timed(fall[0] - fall[2], float(np.hypot(downs[0], downs[2]))),
        Timed(line.time_above(wanted[2], rise[2], fall[2]), float(np.hypot(ups[2], downs[2]))),
        Timed(fall[1] - rise[1], float(np.hypot(ups[1], downs[1]))),
        _steepest(profile, rise[0], rise[2]),
    )


def _level_error(share: float, high: float, low: float) -> float:
    return float(np.hypot(share * high, (1 - share) * low))


class _Line:
    """The profile as straight lines, from half a rest before the rise to half a rest after the fall."""

    def __init__(self, profile: Profile, width: float) -> None:
        turn = width + (profile.period - width) / 2
        before = profile.at >= turn
        after = ~before
        self.at = np.concatenate([profile.at[before] - profile.period, profile.at[after]])
        self.level = np.concatenate([profile.level[before], profile.level[after]])
        self.error = np.concatenate([profile.error[before], profile.error[after]])
        self.slope = np.concatenate([profile.slope[before], profile.slope[after]])
        self.middle = width / 2
        self.width = width

    def _cross(self, index: int, level: float) -> float:
        one, two = self.level[index], self.level[index + 1]
        return float(
            self.at[index] + (self.at[index + 1] - self.at[index]) * (level - one) / (two - one or np.nan)
        )

    def rising(self, level: float) -> float:
        """Instant of the rise through `level` nearest the rising crossing, NaN when there is none."""
        flips = np.flatnonzero((self.level[:-1] < level) & (self.level[1:] >= level))
        times = [self._cross(int(i), level) for i in flips if self.at[i] < self.middle]
        return min(times, key=abs, default=np.nan)

    def falling(self, level: float) -> float:
        """Instant of the fall through `level` nearest the falling crossing, NaN when there is none."""
        flips = np.flatnonzero((self.level[:-1] >= level) & (self.level[1:] < level))
        times = [self._cross(int(i), level) for i in flips if self.at[i + 1] > self.middle]
        return min(times, key=lambda at: abs(at - self.width), default=np.nan)

    def time_error(self, at: float, level_error: float) -> float:
        """Standard error of an instant: that of its level and of the profile there, over the slope."""
        here = min(max(int(np.searchsorted(self.at, at)), 1), self.at.size - 1)
        rise = abs(self.level[here] - self.level[here - 1]) / (self.at[here] - self.at[here - 1])
        steep = max(rise, 0.5 * abs(self.slope[here]), 1e-12)
        return float(np.hypot(self.error[here], level_error) / steep)

    def time_above(self, level: float, first: float, last: float) -> float:
        """Seconds the line is above `level` between two instants."""
        inside: Flags = (self.at > first) & (self.at < last)
        at = np.concatenate([[first], self.at[inside], [last]])
        over: Floats = np.concatenate([[0.0], self.level[inside] - level, [0.0]])
        one, two = over[:-1], over[1:]
        high, low = np.maximum(one, two), np.minimum(one, two)
        share = np.where(low >= 0, 1.0, np.where(high <= 0, 0.0, high / np.maximum(high - low, 1e-300)))
        return float(share @ np.diff(at))


def _steepest(profile: Profile, first: float, last: float) -> Timed:
    """Steepest rise between the 10 % and 90 % instants, where the slope is known well enough to count."""
    at = np.where(profile.at > profile.period / 2, profile.at - profile.period, profile.at)
    inside = (at >= first) & (at <= last)
    if not inside.any():
        inside = np.abs(at) == np.abs(at).min()
    slope, error = profile.slope[inside], profile.slope_error[inside]
    best = int(np.argmax(slope - error))
    return Timed(float(slope[best]), float(error[best]))
