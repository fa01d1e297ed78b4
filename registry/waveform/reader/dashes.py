"""Cells of dashes: over-range on some gauges, no reading on others."""

import numpy as np

from registry.waveform.types import Flags, Floats

HIGH = 0.6  # of the range of a trace: dashes that always stand between readings above are over-range
FEWEST = 2


def over_range_dashes(vacuum: Floats, dashed: Flags) -> Flags:
    """The dashes that stand for over-range: all of them where each run lies between high readings, else none.

    Readings that are lost by chance are lost at the bottom of the cycle too.
    """
    if not dashed.any() or not np.isfinite(vacuum).any():
        return np.zeros(dashed.size, dtype=bool)
    edges = np.diff(dashed.astype(np.int8), prepend=0, append=0)
    first, after = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    inside = (first > 0) & (after < dashed.size)
    beside = np.fmin(vacuum[first[inside] - 1], vacuum[after[inside]])
    low, high = float(np.nanmin(vacuum)), float(np.nanmax(vacuum))
    at_top = beside.size >= FEWEST and bool(np.all(beside > low + HIGH * (high - low)))
    return np.asarray(dashed & at_top)
