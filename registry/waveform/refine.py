"""Per-cycle deviations from the common cycle: how far each is off in level, and in time at its flanks.

A crossing found between two samples carries the noise of those two. Here every sample on a flank has its say:
with y = P(t - shift), the shift by least squares is -sum(P' e) / sum(P'^2) over the residuals e.
"""

from dataclasses import dataclass

from . import kernels
from .profile import Fold, Profile
from .types import Floats


@dataclass(frozen=True, eq=False)
class Deviations:
    """For each folded cycle: level offsets in mmHg (NaN where none was sampled), time shifts in s (then 0).

    `rise_s` has one entry more than cycles: the last is the rise that ends the last one. `rise_error_s` is
    the standard error of a typical rise, `noise` the standard deviation of single samples off the flanks,
    `noise_throughout` on them too, `top_samples` how many samples a cycle's top holds.
    """

    top: Floats
    bottom: Floats
    rise_s: Floats
    fall_s: Floats
    rise_error_s: float
    noise: float
    noise_throughout: float
    top_samples: float


def deviations(folded: Fold, profile: Profile, cycles: int) -> Deviations:
    """Deviations of each of `cycles` cycles (those not folded come out as NaN and 0).

    Bins over 90 % of the swing are top, those under 10 % bottom, and the flanks lie between.
    """
    return Deviations(
        *kernels.deviations.deviations(
            folded.at,
            folded.vacuum,
            folded.cycle,
            profile.place,
            profile.at,
            profile.level,
            profile.slope,
            folded.width,
            cycles,
            folded.count,
        )
    )
