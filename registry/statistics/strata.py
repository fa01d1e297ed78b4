"""One difference over several strata, in each of which like was held against like.

Cells come in pairs, old and new of each stratum. The difference is the mean of those within strata, each
weighted by what it tells, so that what strata differ by never passes for a difference between builds.
"""

from dataclasses import dataclass

import numpy as np

from registry.statistics.differences import Fits
from registry.statistics.estimates import Estimates
from registry.statistics.robust import Floats

_HAIR = 1e-300


@dataclass(frozen=True)
class Contrasts:
    """What makes the old value, the new one, their difference and each stratum's difference of readings.

    Each is a weight a reading, a row a table.
    """

    old: Floats
    new: Floats
    difference: Floats
    within: tuple[Floats, ...]


def contrasts_of(found: Fits) -> Contrasts:
    """Return the contrasts of fits whose cells are old and new of each stratum in turn."""
    old, new = found.weights[:, 0::2], found.weights[:, 1::2]
    apart = new - old
    within = tuple(apart[:, place] for place in range(apart.shape[1]))
    if len(within) == 1:
        return Contrasts(old[:, 0], new[:, 0], within[0], within)
    errors = np.stack([found.estimates(rows).error for rows in within], axis=1)
    least = np.maximum(1e-9 * errors.max(axis=1, keepdims=True), _HAIR)
    weights = 1.0 / np.maximum(errors, least) ** 2
    weights /= weights.sum(axis=1, keepdims=True)
    pooled = [(weights[:, :, None] * rows).sum(axis=1) for rows in (old, new, apart)]
    return Contrasts(pooled[0], pooled[1], pooled[2], within)


def within_strata(found: Fits, of: Contrasts) -> list[Estimates]:
    """The difference within each stratum by itself."""
    return [found.estimates(rows) for rows in of.within]


def unlike(found: Fits, of: Contrasts) -> Floats:
    """The p-value of the strata's differing in their difference (Bonferroni), a table each; NaN for one
    stratum.

    Each is held against the mean of all.
    """
    if len(of.within) < 2:
        return np.full(of.old.shape[0], np.nan)
    apart = [found.estimates(rows - of.difference) for rows in of.within]
    tails = np.array([np.where(one.error > 0, one.p_apart(), 1.0) for one in apart])
    return np.asarray(np.minimum(1.0, len(apart) * tails.min(axis=0)))
