"""One difference over several strata, in each of which like was held against like.

Cells come in pairs, old and new of each stratum. The difference is the mean of those within strata, each
weighted by what it tells, so that what strata differ by never passes for a difference between builds.
"""

from dataclasses import dataclass

import numpy as np

from registry.statistics.differences import Estimate, Fit
from registry.statistics.robust import Floats

_HAIR = 1e-300


@dataclass(frozen=True)
class Contrasts:
    """What makes the old value, the new one and each stratum's difference of a fit's cells."""

    old: Floats
    new: Floats
    within: tuple[Floats, ...]


def contrasts_of(fit: Fit) -> Contrasts:
    """Return the contrasts of a fit whose cells are old and new of each stratum in turn."""
    strata = int(fit.readings.cell.max() + 1) // 2
    eye = np.eye(2 * strata)
    within = tuple(eye[2 * place + 1] - eye[2 * place] for place in range(strata))
    if strata == 1:
        return Contrasts(eye[0], eye[1], within)
    errors = np.array([fit.estimate(contrast).error for contrast in within])
    weights = 1.0 / np.maximum(errors, max(1e-9 * float(errors.max()), _HAIR)) ** 2
    weights /= weights.sum()
    return Contrasts(weights @ eye[0::2], weights @ eye[1::2], within)


def unlike(fit: Fit, of: Contrasts) -> float | None:
    """The p-value of the strata's differing in their difference (Bonferroni); None for one stratum.

    Each is held against the mean of all.
    """
    if len(of.within) < 2:
        return None
    overall = of.new - of.old
    tails = [_apart(fit.estimate(one - overall)) for one in of.within]
    return min(1.0, len(tails) * min(tails))


def _apart(estimate: Estimate) -> float:
    return estimate.p_apart() if estimate.error > 0 else 1.0
