"""What a gauge reads off by, as the units it read then or later show."""

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

# How many of the units that a gauge read with one or after it are asked whether the gauge was sound then.
_ASKED = 9


def gauges_shown(gauge: NDArray[np.intp], at: Floats, apart: Floats, least: int) -> Floats:
    """What each row's gauge reads off by: the median of the first few other rows of it, then or later.

    `gauge` counts from 0, `at` is when a row was read, `apart` how far its unit stands from its build. NaN
    where there are fewer than `least` others. What a gauge read before says nothing of what it has gone off
    by since.
    """
    size = at.size
    order = np.lexsort((at, gauge))
    ranked_gauge, ranked_at, place = gauge[order], at[order], np.arange(size)
    new = (np.diff(ranked_gauge, prepend=-1) != 0) | (np.diff(ranked_at, prepend=-np.inf) != 0)
    starts = np.flatnonzero(new)
    asked = np.repeat(starts, np.diff(starts, append=size))[:, None] + np.arange(_ASKED + 1)
    ends = np.searchsorted(ranked_gauge, ranked_gauge, side="right")
    others = (asked < ends[:, None]) & (asked != place[:, None])
    ranked = np.sort(np.where(others, apart[order][np.minimum(asked, size - 1)], np.inf), axis=1)
    number = others.sum(axis=1)
    low, high = ranked[place, np.maximum(number - 1, 0) // 2], ranked[place, np.minimum(number // 2, _ASKED)]
    found = np.empty(size)
    # Where nobody vouches both are infinite, and are not looked at.
    with np.errstate(invalid="ignore"):
        found[order] = np.where(number >= least, (low + high) / 2, np.nan)
    return found
