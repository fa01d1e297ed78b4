"""Per-cycle deviations from the common cycle: how far each is off in level, and in time at its flanks.

A crossing found between two samples carries the noise of those two. Here every sample on a flank has its say:
with y = P(t - shift), the shift by least squares is -sum(P' e) / sum(P'^2) over the residuals e.
"""

from dataclasses import dataclass

import numpy as np

from .order import dot, median
from .profile import Fold, Profile
from .types import Flags, Floats


@dataclass(frozen=True, eq=False)
class Deviations:
    """For each folded cycle: level offsets in mmHg (NaN where none was sampled), time shifts in s (then 0).

    `rise_s` has one entry more than cycles: the last is the rise that ends the last one. `rise_error_s` is
    the standard error of a typical rise, `noise` the standard deviation of single samples off the flanks.
    """

    top: Floats
    bottom: Floats
    rise_s: Floats
    fall_s: Floats
    rise_error_s: float
    noise: float
    top_samples: float


@dataclass(frozen=True)
class Marks:
    """Where in the common cycle the parts lie: bins of top, bottom and flanks."""

    top: Flags
    bottom: Flags
    rise: Flags
    fall: Flags


def mark(profile: Profile, low: float, high: float) -> Marks:
    """Sort bins into top (over 90 % of the swing), bottom (under 10 %) and the two flanks between."""
    share = (profile.level - low) / (high - low)
    flank = (share > 0.1) & (share < 0.9)
    rising = profile.slope > 0
    return Marks(share >= 0.9, share <= 0.1, flank & rising, flank & ~rising)


def deviations(folded: Fold, profile: Profile, marks: Marks, cycles: int) -> Deviations:
    """Deviations of each of `cycles` cycles (those not folded come out as NaN and 0)."""
    place, cycle = profile.place, folded.cycle
    slope = profile.slope[place]
    residual = folded.vacuum - (profile.level - slope_offset(profile))[place] - slope * folded.at
    top, bottom = np.flatnonzero(marks.top[place]), np.flatnonzero(marks.bottom[place])
    above, count, rough_top = _levels_by(cycle[top], residual[top], cycles)
    below, rest, rough_bottom = _levels_by(cycle[bottom], residual[bottom], cycles)
    freedom = max(top.size + bottom.size - 2 * folded.count, 1)
    noise = float(np.sqrt(max(rough_top + rough_bottom, 0.0) / freedom))
    share = _share(profile)
    early = profile.at < folded.width
    upper, lower = np.append(above, above[-1]), np.append(below, below[-1])
    later = (~early).astype(np.intp)
    rise, error = _shifts(folded, profile, marks.rise, residual, slope, (share, later, upper, lower))
    fall, _ = _shifts(folded, profile, marks.fall, residual, slope, (share, 0 * later, upper, lower))
    samples = median(count[count > 0]) if count.any() else 1.0
    return Deviations(
        np.where(count > 0, above, np.nan),
        np.where(rest > 0, below, np.nan),
        rise,
        fall[:-1],
        error,
        noise,
        samples,
    )


def slope_offset(profile: Profile) -> Floats:
    """What the slope takes at a bin's own mean time: level + slope (t - at) then needs one look-up less."""
    return profile.slope * profile.at


def _levels_by(cycle: np.ndarray, residual: Floats, size: int) -> tuple[Floats, Floats, float]:
    """(mean residual of each cycle, samples, sum of squares about those means)."""
    count = np.bincount(cycle, minlength=size).astype(np.float64)
    total = np.bincount(cycle, residual, minlength=size)
    means = total / np.maximum(count, 1.0)
    return means, count, dot(residual, residual) - dot(total, means)


def _share(profile: Profile) -> Floats:
    low, high = float(profile.level.min()), float(profile.level.max())
    return np.asarray((profile.level - low) / max(high - low, 1e-12))


def _shifts(
    folded: Fold,
    profile: Profile,
    bins: Flags,
    residual: Floats,
    slope: Floats,
    ends: tuple[Floats, np.ndarray, Floats, Floats],
) -> tuple[Floats, float]:
    """(shift of each flank, standard error of a typical one).

    `ends` holds the share of the swing and the number of cycles later that a bin's flank belongs to, and the
    level deviations above and below: a flank leads from its cycle's low to the high it belongs to.
    """
    share, later, above, below = ends
    chosen = np.flatnonzero(bins[profile.place])
    place, cycle = profile.place[chosen], folded.cycle[chosen]
    flank = cycle + later[place]
    steep, part = slope[chosen], share[place]
    low = below[cycle]
    error = residual[chosen] - low - part * (above[flank] - low)
    squares = np.bincount(flank, steep * steep, minlength=above.size).astype(np.float64)
    shift = -np.bincount(flank, steep * error, minlength=above.size) / np.maximum(squares, 1e-300)
    remaining = (error + steep * shift[flank]) * steep
    freedom = max(1.0 - folded.count / max(chosen.size, 1), 0.2)
    spread = dot(remaining, remaining) / freedom / max(float(squares.sum()), 1e-300)
    known = squares[squares > 0]
    return shift, float(np.sqrt(spread / median(known))) if known.size else np.inf
