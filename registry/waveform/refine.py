"""Per-cycle deviations from the common cycle: how far each is off in level, and in time at its flanks.

A crossing found between two samples carries the noise of those two. Here every sample on a flank has its say:
with y = P(t - shift), the shift by least squares is -sum(P' e) / sum(P'^2) over the residuals e.
"""

from dataclasses import dataclass

import numpy as np

from .order import median
from .profile import Fold, Profile
from .types import Flags, Floats


@dataclass(frozen=True, eq=False)
class Deviations:
    """For each folded cycle (0 where nothing was sampled): level offsets in mmHg and time shifts in s.

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


def _mean_by(group: np.ndarray, values: Floats, size: int) -> tuple[Floats, Floats]:
    count = np.bincount(group, minlength=size).astype(float)
    total = np.bincount(group, values, minlength=size)
    return total / np.maximum(count, 1), count


def deviations(folded: Fold, profile: Profile, marks: Marks, cycles: int) -> Deviations:
    """Deviations of each of `cycles` cycles (those not folded come out as 0)."""
    place, cycle = profile.place, folded.cycle
    slope = profile.slope[place]
    residual = folded.vacuum - profile.level[place] - slope * (folded.at - profile.at[place])
    top, bottom = marks.top[place], marks.bottom[place]
    above, count = _mean_by(cycle[top], residual[top], cycles)
    below, _ = _mean_by(cycle[bottom], residual[bottom], cycles)
    flat = np.concatenate([residual[top] - above[cycle[top]], residual[bottom] - below[cycle[bottom]]])
    freedom = max(flat.size - 2 * folded.count, 1)
    noise = float(np.sqrt(flat @ flat / freedom)) if flat.size else 0.0
    rise, fall, error = _shifts(folded, profile, marks, residual, above, below)
    samples = median(count[count > 0]) if count.any() else 1.0
    return Deviations(above, below, rise, fall, error, noise, samples)


def _shifts(
    folded: Fold, profile: Profile, marks: Marks, residual: Floats, above: Floats, below: Floats
) -> tuple[Floats, Floats, float]:
    """(shift of rises, shift of falls, standard error of a rise)."""
    cycles = above.size
    upper = np.append(above, above[-1])
    rise_sum, rise_weight = np.zeros(cycles + 1), np.zeros(cycles + 1)
    early = profile.at < folded.width
    share = _share(profile)
    error_sum = 0.0
    for bins, later in ((marks.rise & early, 0), (marks.rise & ~early, 1)):
        part = _flank(folded, profile, bins, residual, share, (upper[later:], below))
        rise_sum[later : cycles + later] += part[0]
        rise_weight[later : cycles + later] += part[1]
        error_sum += part[2]
    fall_sum, fall_weight, _ = _flank(folded, profile, marks.fall, residual, share, (upper, below))
    rise: Floats = -rise_sum / np.maximum(rise_weight, 1e-300)
    fall: Floats = -fall_sum / np.maximum(fall_weight, 1e-300)
    typical = median(rise_weight[rise_weight > 0]) if (rise_weight > 0).any() else np.inf
    spread = error_sum / max(float(rise_weight.sum()), 1e-300)
    return rise, fall, float(np.sqrt(spread / typical))


def _share(profile: Profile) -> Floats:
    low, high = profile.level.min(), profile.level.max()
    return np.asarray((profile.level - low) / max(high - low, 1e-12))


def _flank(
    folded: Fold, profile: Profile, bins: Flags, residual: Floats, share: Floats, ends: tuple[Floats, Floats]
) -> tuple[Floats, Floats, float]:
    """Sums of P' e and P'^2 over a flank for each cycle, and the weighted square of what remains."""
    chosen = np.flatnonzero(bins[profile.place])
    place, cycle = profile.place[chosen], folded.cycle[chosen]
    above, below = ends
    slope, part = profile.slope[place], share[place]
    error = residual[chosen] - part * above[cycle] - (1 - part) * below[cycle]
    size = below.size
    products = np.bincount(cycle, slope * error, minlength=size).astype(np.float64)
    squares = np.bincount(cycle, slope**2, minlength=size).astype(np.float64)
    shift = -products / np.maximum(squares, 1e-300)
    remaining = (error + slope * shift[cycle]) * slope
    freedom = max(1.0 - folded.count / max(chosen.size, 1), 0.2)
    return products, squares, float(remaining @ remaining) / freedom
