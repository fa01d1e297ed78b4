"""How likely nothing else lies between two units of one build: change points along serials.

A maker changes builds now and then, and may go back to one. Along serials that is taken as a Poisson process
of rate r: at each change the build becomes any of the other k - 1 with equal chance, so that two serials d
apart are of one build with

    p(d) = 1/k + (1 - 1/k) exp(-r d k / (k - 1))

(the symmetric Markov chain of k states; for sites of sequences: Jukes and Cantor 1969, k = 4, and Lewis 2001,
any k; formula from memory, and tried by simulation in tests/statistics/test_changes.py). Given one build at
both ends of a gap of d serials, the serials x to y within are all of it, being a and b from its ends, with

    p(a) exp(-r (y - x)) p(b) / p(d)

For the whole gap that is exp(-r d) / p(d): no change, where there may have been a change and a change back.
The rate is not known. It is learnt from every gap between neighbours that are known (p(d) where they are of
one build, 1 - p(d) where not) and every stretch stored as one build (exp(-r l)), with the weak prior of half
a change in one mean gap (Gamma of shape 1/2), and averaged over on a grid.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_SHAPE = 0.5
_GRID = 120
# A rate is looked for between so many changes in all that is known, and in one mean gap.
_FEWEST, _MOST = 1e-4, 30.0


@dataclass(frozen=True)
class Known:
    """A stretch of serials, both ends included, known to be of one build."""

    first: int
    last: int
    revision: str


class Changes:
    """The rate of changes learnt from what is known along one series, in order and apart."""

    def __init__(self, known: Sequence[Known], builds: int) -> None:
        """Learn from stretches in serial order that do not overlap. ValueError for fewer than two."""
        if len(known) < 2:
            raise ValueError("a rate of changes needs two stretches that are known")
        self._builds = max(builds, 2)
        pairs = list(pairwise(known))
        gaps = np.array([b.first - a.last for a, b in pairs], float)
        same = np.array([a.revision == b.revision for a, b in pairs])
        within = float(sum(one.last - one.first for one in known))
        mean = float(gaps.mean())
        self._rates = np.geomspace(_FEWEST / (gaps.sum() + within), _MOST / mean, _GRID)
        differ = self._differ(gaps[:, None])
        logs = np.log(np.where(same[:, None], 1 - differ, differ)).sum(axis=0)
        logs += _SHAPE * np.log(self._rates) - self._rates * (mean + within)
        weights = np.exp(logs - logs.max())
        self._weights: Floats = weights / weights.sum()

    def _differ(self, distance: Floats | float) -> Floats:
        """1 - p(d) for each rate of the grid, with all its digits where the rate is small."""
        share = 1 - 1 / self._builds
        scaled: Floats = np.asarray(self._rates * distance / share)
        return -share * np.expm1(-scaled)

    def _agree(self, distance: float) -> Floats:
        return 1 - self._differ(distance)

    def all_of_one(self, pieces: Sequence[tuple[int, int, int, int]]) -> float:
        """Return how likely all serials of some pieces are of the build at the ends of their gaps.

        A piece is (end before, first, last, end after): serials first to last within one gap between two
        neighbours of one build. The pieces share one rate.
        """
        chance = np.ones_like(self._rates)
        for before, first, last, after in pieces:
            through = np.exp(-self._rates * (last - first))
            ends = self._agree(float(first - before)) * self._agree(float(after - last))
            chance = chance * ends * through / self._agree(float(after - before))
        return float(self._weights @ chance)

    @property
    def rate(self) -> float:
        """The expected number of changes a serial."""
        return float(self._weights @ self._rates)
