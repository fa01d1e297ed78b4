"""What gauges lean by, builds and units taken out: one small matrix however many units were read.

Every row is build + unit + gauge + noise. Units and noise are random with known spreads, builds are free.
Taking builds and units out of the rows leaves, for the gauges, a matrix of information and a vector of
scores; all tests of gauges and of clinics follow from these two.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import csr_array

from registry.statistics.robust import Floats

Flags = NDArray[np.bool_]
# The share of its scatter's certainty that a gauge keeps which may lean as it will: as good as none.
_FREE = 1e-7


@dataclass(frozen=True)
class Leans:
    """`information` and `scores` of the gauges, in the order of `gauges`."""

    gauges: NDArray[np.int64]
    information: Floats
    scores: Floats

    def tested(self, scatter: float, free: Flags) -> tuple[Floats, Floats]:
        """The mean-shift test of each gauge: its shift and standard error, infinite where none can be told.

        Gauges scatter by `scatter`; those that are `free` lean as they will and bear on no other. With M the
        inverse of information + certainty (D, diagonal), a shift is (Mb)/(1 - D M) of the diagonal: the
        generalised least squares estimate for a column of ones at the gauge's rows.
        """
        certainty = np.where(free, _FREE, 1.0) / scatter**2
        inverse = np.linalg.inv(self.information + np.diag(certainty))
        diagonal, solved = np.diag(inverse), inverse @ self.scores
        # A free gauge is tested like the others: with its scatter, and the other free ones still free.
        full = 1.0 / scatter**2
        back = 1.0 + np.where(free, full - certainty, 0.0) * diagonal
        diagonal, solved = diagonal / back, solved / back
        weight = full - full**2 * diagonal
        return _shifts(full * solved, weight, full)

    def together(self, members: Flags, scatter: float, free: Flags) -> tuple[float, float]:
        """The mean-shift test of several gauges that lean as one, each still scattering by itself."""
        certainty = np.where(free & ~members, _FREE, 1.0) / scatter**2
        inverse = np.linalg.inv(self.information + np.diag(certainty))
        column = np.where(members, certainty, 0.0)
        through = inverse @ column
        weight = float(column.sum() - column @ through)
        centres, errors = _shifts(np.array([through @ self.scores]), np.array([weight]), float(column.sum()))
        return float(centres[0]), float(errors[0])


def _shifts(scores: Floats, weights: Floats, full: float) -> tuple[Floats, Floats]:
    told = weights > 1e-7 * full
    safe = np.where(told, weights, 1.0)
    return np.where(told, scores / safe, 0.0), np.where(told, safe**-0.5, np.inf)


def leans_of(pairs: pd.DataFrame, values: Floats, spread: Floats | float, noise: float) -> Leans:
    """Take builds and units out of a table of pairs. `spread` is between units, a figure or one a row that is
    the same throughout a build; `noise` is that of a row (both standard deviations)."""
    unit, build = (pd.factorize(pairs[name])[0] for name in ("unit", "build"))
    gauges, gauge = np.unique(pairs["gauge"].to_numpy(np.int64), return_inverse=True)
    ones, rows = np.ones(len(pairs)), np.arange(len(pairs))
    of_gauge = csr_array((ones, (rows, gauge)), shape=(len(pairs), gauges.size))
    sizes = np.bincount(unit)
    between = np.zeros(sizes.size)
    between[unit] = np.square(spread)
    shrink = between / (noise**2 + sizes * between)

    def solve(right: Floats) -> Floats:
        return (right - (shrink * np.bincount(unit, right))[unit]) / noise**2

    in_unit = csr_array((ones, (unit, gauge)), shape=(sizes.size, gauges.size))
    inner = np.diag(np.bincount(gauge).astype(float)) - (in_unit.T * shrink) @ in_unit
    weights, solved = solve(ones), solve(values)
    by_build = csr_array((weights, (build, gauge)), shape=(int(build.max()) + 1, gauges.size))
    of_build = np.bincount(build, weights)
    information = np.asarray(inner) / noise**2 - (by_build.T * (1 / of_build)) @ by_build
    scores = of_gauge.T @ solved - by_build.T @ (np.bincount(build, solved) / of_build)
    return Leans(gauges, np.asarray(information), np.asarray(scores))
