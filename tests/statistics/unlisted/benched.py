"""Rows of units read at benches, in order, for tests of unlisted revisions."""

from collections.abc import Sequence

import numpy as np

from registry.statistics.unlisted.limits import LIMITS
from registry.statistics.unlisted.rows import Channel, Rows


def rows(
    value: np.ndarray, clinic: Sequence[int], metric: str = "cycle_rate", unit: Sequence[int] | None = None
) -> Rows:
    """One row a value; a unit each unless said, a bench each clinic."""
    of = np.arange(len(value)) if unit is None else np.asarray(unit)
    benches, bench = np.unique(clinic, return_inverse=True)
    spread = LIMITS.spread(metric)
    noise = np.full(len(value), (0.15 * spread) ** 2)
    return Rows(of, bench, np.asarray(clinic), value, noise, int(of.max()) + 1, benches.size, spread)


def channel(value: np.ndarray, clinic: Sequence[int], metric: str = "cycle_rate") -> Channel:
    """All settings of one metric."""
    return Channel(metric, "", rows(value, clinic, metric))


def quiet(rng: np.random.Generator, clinic: Sequence[int], metric: str = "cycle_rate") -> np.ndarray:
    """Units of one build: each clinic's lean, and the usual spread between units."""
    spread, clinics = LIMITS.spread(metric), np.asarray(clinic)
    return 3 * spread * rng.normal(size=clinics.max() + 1)[clinics] + spread * rng.normal(size=clinics.size)
