"""Levels and times of the common cycle: state levels, transition durations, hold, duty, steepest rise.

Definitions follow IEC 60469 / IEEE 181: the 10 % and 90 % instants are those nearest the mid-reference
crossing on either side.

What form a cycle has where it is highest is not known: flat, sagging, a dome, a corner. So windows about the
highest bin are fitted by level, line, parabola, and two lines or parabolas that meet in a knot; each form
counts by how likely it makes the samples (Schwarz 1978, Annals of Statistics 6, 461-464; averaging as in
Hoeting et al. 1999, Statistical Science 14, 382-417), and how far they lie apart is in the standard error.
"""

from dataclasses import dataclass
from math import hypot, isfinite

import numpy as np

from . import kernels
from .editions import Edition
from .patches import Bins, Patch, fit_patches
from .profile import Profile

DEPTH = 0.3  # of the swing: how far a patch or a window may reach up or down from its point
CAREFUL = 1.0  # standard errors a bin is discounted by when the extreme one is looked for
SLOPE_SHARE, CORNER_SHARE = 0.005, 0.035  # of the steepest slope, as said there
UNFITTED_CORNER, UNFITTED = (0.2, 0.12), (0.03, 0.1)  # (share of a slope that hides, how well that is known)
BIN_SHARE = 0.09  # of a bin's width: how well an instant can be placed at best (by replay, as for MISFIT)
TOGETHER = 1.25  # what that adds to independent errors of two instants (by replay)


@dataclass(frozen=True)
class Level:
    """A state level in mmHg with its standard error from noise."""

    value: float
    error: float


@dataclass(frozen=True)
class Timed:
    """A time (or a slope) with its standard error from noise, and how much of that is due to bins."""

    value: float
    error: float
    binned: float = 0.0


@dataclass(frozen=True)
class Shape:
    """What one profile shows: mid-reference crossings, the hold and the end of the pulse in s; levels."""

    high: Level
    low: Level
    rise: Timed
    fall_s: float
    hold_from: float
    hold_to: float
    end: float
    pull: Timed
    release: Timed
    hold: Timed
    width: Timed
    steepest: Timed

    @property
    def swing(self) -> float:
        """High less low level, mmHg."""
        return self.high.value - self.low.value


def shape(profile: Profile, width: float, edition: Edition) -> Shape | None:
    """The shape of a profile whose falling crossing lies near `width`; None where a flank is not whole."""
    bins = Bins(profile.at, profile.raw, profile.weight, profile.level, profile.period)
    top, bottom = kernels.outline.extremes(profile.level, profile.error, CAREFUL)
    shares = (edition.low_reference, edition.mid_reference, edition.high_reference)
    line = _Line(profile, width)
    rough = line.instants(shares, float(profile.level[bottom]), float(profile.level[top]))
    if not all(map(isfinite, rough)):
        return None
    steep_at = line.steepest(rough[0], rough[2])
    starts = np.array([line.bin_at(at) for at in [*rough, steep_at]], dtype=np.intp)
    depth = DEPTH * float(np.ptp(profile.level))
    *crossed, steep = fit_patches(bins, starts, depth)
    high, low = (_level(bins, profile, place, depth, sign) for place, sign in ((top, 1), (bottom, -1)))
    up, down = _instants(shares, (low, high), crossed, line)
    if not all(isfinite(at.value) for at in (*up, *down)):
        return None
    return Shape(
        high,
        low,
        up[1],
        down[1].value,
        up[2].value,
        down[2].value,
        down[0].value,
        _between(up[0], up[2]),
        _between(down[2], down[0]),
        _hold(line, low.value + shares[2] * (high.value - low.value), up[2], down[2]),
        _between(up[1], down[1]),
        _steepest(
            [*crossed[:3], steep], line, steep_at, corner=steep_at < rough[0] + 0.1 * (rough[2] - rough[0])
        ),
    )


def _level(bins: Bins, profile: Profile, place: int, depth: float, sign: int) -> Level:
    """The high (`sign` 1) or low (-1) level about the extreme bin; the bin's own where no form fits."""
    value, error = kernels.summits.extreme_level(
        bins.at, bins.level, bins.weight, bins.smooth, place, sign, (bins.period, depth)
    )
    if isfinite(value):
        return Level(value, error)
    return Level(float(profile.level[place]), float(profile.error[place]))


def _instants(
    shares: tuple[float, ...], levels: tuple[Level, Level], patches: list[Patch | None], line: "_Line"
) -> tuple[list[Timed], list[Timed]]:
    """Instants of the rise and of the fall through the reference levels, lowest level first."""
    low, high = levels
    wanted = [low.value + share * (high.value - low.value) for share in shares]
    errors = [hypot(share * high.error, (1 - share) * low.error) for share in shares]
    rough = line.instants(shares, low.value, high.value)
    times = [
        _instant(patch, level, error, at, line)
        for patch, level, error, at in zip(patches, wanted * 2, errors * 2, rough, strict=True)
    ]
    return times[: len(shares)], times[len(shares) :]


def _instant(patch: Patch | None, level: float, error: float, rough: float, line: "_Line") -> Timed:
    """When the profile meets a level: from the patch, or from straight lines between bins where it fails."""
    x = None if patch is None else patch.crossing(level)
    if patch is None or x is None or patch.slope(x) == 0:
        return Timed(rough, hypot(line.time_error(rough, error), line.binned), line.binned)
    centre = patch.at - (line.period if patch.at > line.turn else 0.0)
    noise = hypot(patch.error(x), error) / abs(patch.slope(x))
    return Timed(centre + x, hypot(noise, line.binned), line.binned)


def _between(one: Timed, two: Timed) -> Timed:
    return Timed(abs(two.value - one.value), hypot(one.error, two.error))


def _hold(line: "_Line", level: float, first: Timed, last: Timed) -> Timed:
    """Time above a level between two instants, less any dip under it; the level's error moves both apart."""
    span = _between(first, last)
    return Timed(span.value - line.dips(level, first.value, last.value), TOGETHER * span.error)


def _steepest(patches: list[Patch | None], line: "_Line", at: float, *, corner: bool) -> Timed:
    """The steepest rise: on the patch about the steepest bin, or on one that knows the same slope better.

    A flank that begins at a `corner` is steepest just there, where no bin shows it: the slope is followed to
    the corner along the patch's own bend. Where no patch fits, smoothing hides a known share of the slope.
    What is added to the error is found by replay, as for MISFIT.
    """
    smoothed, smoothed_error = line.slope_at(at)
    if patches[-1] is None:
        hidden, unsure = UNFITTED_CORNER if corner else UNFITTED
        steep = (1 + hidden) * smoothed
        return Timed(steep, hypot(smoothed_error, unsure * steep))
    best = max(_slopes(patches[-1]), key=lambda entry: entry[0] - 1.5 * entry[1])
    known = [entry for patch in patches if patch is not None for entry in _slopes(patch)]
    alike = [entry for entry in known if abs(entry[0] - best[0]) <= best[1]]
    slope, error, bend, curve = min(alike, key=lambda entry: entry[1])
    a_bin = abs(curve) * line.period / line.at.size
    rounded = slope - smoothed
    if corner:
        parts = (error, 2.5 * a_bin, 0.25 * rounded, CORNER_SHARE * slope)
        return Timed(slope + 1.5 * a_bin, hypot(*parts))
    return Timed(slope, hypot(error, 0.3 * bend, a_bin, 0.2 * rounded, SLOPE_SHARE * slope))


def _slopes(patch: Patch) -> list[tuple[float, float, float, float]]:
    """(slope, its standard error, bend over the patch, bend a second) at its ends and its middle."""
    bend = patch.slope(patch.last) - patch.slope(patch.first)
    curve = bend / (patch.last - patch.first)
    return [(patch.slope(x), patch.slope_error(x), bend, curve) for x in (patch.first, 0.0, patch.last)]


class _Line:
    """The smoothed profile unrolled from the middle of one rest to the middle of the next."""

    def __init__(self, profile: Profile, width: float) -> None:
        self.turn, self.top = kernels.outline.turns(profile.at, profile.level, width)
        self.order, self.at = kernels.outline.unrolled(profile.at, self.turn, profile.period)
        self.level = profile.level[self.order]
        self.error = profile.error[self.order]
        self.slope = profile.slope[self.order]
        self.slope_error = profile.slope_error[self.order]
        self.period = profile.period
        self.width = width
        self.binned = BIN_SHARE * profile.period / profile.at.size

    def bin_at(self, at: float) -> int:
        """Bin of the profile nearest an instant."""
        return int(self.order[kernels.outline.nearest(self.at, at)])

    def instants(self, shares: tuple[float, ...], low: float, high: float) -> list[float]:
        """Instants of the rise, then of the fall, through shares of the swing; NaN where there is none."""
        levels = [low + share * (high - low) for share in shares]
        return [self.rising(level) for level in levels] + [self.falling(level) for level in levels]

    def rising(self, level: float) -> float:
        """Instant of the rise through `level` nearest the rising crossing, NaN when there is none."""
        return kernels.outline.rising(self.at, self.level, level, self.top)

    def falling(self, level: float) -> float:
        """Instant of the fall through `level` nearest the falling crossing, NaN when there is none."""
        return kernels.outline.falling(self.at, self.level, level, self.top, self.width)

    def time_error(self, at: float, level_error: float) -> float:
        """What noise does to an instant: the error of its level and of the profile there, over the slope."""
        error = float(self.error[kernels.outline.nearest(self.at, at)])
        steep = kernels.outline.steepness(self.at, self.level, self.slope, at)
        return float(hypot(error, level_error) / steep)

    def slope_at(self, at: float) -> tuple[float, float]:
        """Smoothed slope and its standard error at an instant."""
        here = kernels.outline.nearest(self.at, at)
        return float(self.slope[here]), float(self.slope_error[here])

    def steepest(self, first: float, last: float) -> float:
        """Instant between two where the slope is largest, as far as it is known well."""
        return kernels.outline.steepest(self.at, self.slope, self.slope_error, first, last)

    def dips(self, level: float, first: float, last: float) -> float:
        """Seconds between two instants that the profile is clearly under a level."""
        return kernels.outline.dips(self.at, self.level + 2 * self.error, level, first, last)
