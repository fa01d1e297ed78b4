"""Readings of pairs with wild units reined in, and what units of a build differ by."""

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from registry.statistics.robust import Floats, algorithm_a, reined

LEAST_SPREAD = 0.005
# A gauge of fewer units gets no leaning of its own here, so that it cannot hide a wild unit.
_OWN_LEANING = 3
# As in `deviants`: builds differ in how far their units lie apart, and few units tell that poorly.
_DRAWN_BY = 8
_ROUNDS, _STILL = 200, 1e-7

Codes = NDArray[np.intp]


class Fitted(NamedTuple):
    """`values` reined in about their build and gauge, the `spread` between units, and each row's build, gauge
    and `spreads`: what units of its own build differ by."""

    values: Floats
    spread: float
    of_build: Floats
    of_gauge: Floats
    spreads: Floats


def shared(pairs: pd.DataFrame) -> pd.DataFrame:
    """The pairs of builds that two clinics read; others tell nothing of clinics and gauges."""
    build, clinic = (
        np.unique(pairs[name].to_numpy(), return_inverse=True)[1] for name in ("build", "clinic")
    )
    width = int(clinic.max(initial=0)) + 1
    clinics = np.bincount(np.unique(build * width + clinic) // width)[build]
    return pairs[clinics >= 2].reset_index(drop=True)


def tamed_pairs(pairs: pd.DataFrame) -> tuple[Floats, float]:
    """Readings with wild units reined in about their build and gauge, and the spread between units."""
    fitted = fit_pairs(pairs)
    return fitted.values, fitted.spread


def fit_pairs(pairs: pd.DataFrame) -> Fitted:
    """Fit reading = build + gauge by least squares and rein in what lies far outside, three times over."""
    y = pairs["apart"].to_numpy(float)
    build, gauge = pd.factorize(pairs["build"])[0], pd.factorize(pairs["gauge"])[0]
    leaning = np.bincount(gauge)[gauge] >= _OWN_LEANING
    freedom = max(len(y) - _rank(build, gauge, leaning), 1)
    values, spread, of_build, of_gauge = y, LEAST_SPREAD, np.zeros(len(y)), np.zeros(len(y))
    lost = float(np.sqrt(max(len(y) - 1, 1) / freedom))
    for _ in range(3):
        of_build, of_gauge = _effects(values, build, gauge, leaning)
        fitted = of_build + of_gauge
        about = algorithm_a(y - fitted)[1] if len(y) > 1 else 0.0
        spread = max(about * lost, LEAST_SPREAD)
        values = fitted + reined(y - fitted, spread, len(y))
    return Fitted(
        values, spread, of_build, of_gauge, _of_builds(y - of_build - of_gauge, build, spread, lost)
    )


def _of_builds(left: Floats, build: Codes, spread: float, lost: float) -> Floats:
    """What units of each row's build differ by: its own spread drawn towards that of all, as if so many
    values had told that one. What robust spreads pull in tells less: 0.7 times as many values."""
    variances = np.full(int(build.max(initial=-1)) + 1, spread**2)
    for one, size in enumerate(np.bincount(build).tolist()):
        if size > _OWN_LEANING:
            own, worth = algorithm_a(left[build == one])[1] * lost, 0.7 * (size - 1)
            variances[one] = (worth * own**2 + _DRAWN_BY * spread**2) / (worth + _DRAWN_BY)
    found: Floats = np.sqrt(np.maximum(variances, LEAST_SPREAD**2))[build]
    return found


def _effects(values: Floats, build: Codes, gauge: Codes, leaning: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Each row's build and gauge effect, by taking means in turn until they stand still."""
    in_build, in_gauge = np.bincount(build), np.maximum(np.bincount(gauge, leaning), 1)
    of_gauge = np.zeros(in_gauge.size)
    of_build = np.zeros(in_build.size)
    for _ in range(_ROUNDS):
        before = of_build
        of_build = np.bincount(build, values - of_gauge[gauge]) / in_build
        of_gauge = np.bincount(gauge, leaning * (values - of_build[build])) / in_gauge
        if np.abs(of_build - before).max(initial=0.0) < _STILL:
            break
    return of_build[build], of_gauge[gauge]


def _rank(build: Codes, gauge: Codes, leaning: NDArray[np.bool_]) -> int:
    """How many effects the rows can tell: builds and leaning gauges, less one wherever they hang together."""
    builds = int(build.max(initial=-1)) + 1
    mine = gauge[leaning]
    size = builds + int(gauge.max(initial=-1)) + 1
    ties = coo_array((np.ones(mine.size), (build[leaning], builds + mine)), shape=(size, size))
    joined = connected_components(ties, directed=False)[0] - (size - builds - np.unique(mine).size)
    return builds + int(np.unique(mine).size) - int(joined) + _lone(build, leaning, builds)


def _lone(build: Codes, leaning: NDArray[np.bool_], builds: int) -> int:
    """Builds that no leaning gauge read: parts of their own, which lose nothing."""
    return builds - int(np.unique(build[leaning]).size)
