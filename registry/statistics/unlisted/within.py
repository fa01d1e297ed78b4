"""Differences between units within benches: generalised least squares with benches fixed and units random.

A reading is a bench's lean, a unit's own effect, and noise. What a bench leans by is taken out, so a change
is seen only where one bench measured units of both sides, and a unit read by several benches counts once.
"""

from copy import copy
from dataclasses import dataclass, replace

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.rows import Rows

_SINGULAR = 1e-15  # as a share of the largest eigenvalue


@dataclass(frozen=True)
class Effect:
    """A change between units: its size, what its weights make of it (`information`), and what is left.

    `rest` is the weighted sum of squares that the change leaves, on `freedom` degrees of freedom.
    """

    size: float
    information: float
    rest: float
    freedom: int


class Within:
    """Rows made ready: what any grouping of the units explains follows by sums over units.

    Weights are those of the usual spread between units and of each row's own noise.
    """

    def __init__(self, rows: Rows) -> None:
        self.rows = rows
        between = rows.spread**2
        benches = rows.benches
        per_row = 1.0 / rows.noise
        shares = np.zeros((rows.units, benches))
        np.add.at(shares, (rows.unit, rows.bench), per_row)
        total = shares.sum(axis=1)
        self._shrink = 1.0 / (1.0 + between * total)
        self.weight = self._shrink * total
        self.by_bench = self._shrink[:, None] * shares
        design = np.diag(shares.sum(axis=0)) - between * shares.T @ self.by_bench
        self._inverse = _inverse(design)
        self._per_row, self._between = per_row, between
        self.freedom = rows.unit.size - np.unique(rows.bench).size

    def reading(self, value: Floats) -> "Within":
        """The same rows with other figures, at next to no cost: weights do not depend on them."""
        other = copy(self)
        other.rows = replace(self.rows, value=value)
        return other

    def left(self, value: Floats) -> tuple[Floats, float]:
        """What benches leave of each unit, weighted, and the weighted sum of squares they leave."""
        by_unit, by_bench = self._sums(value)
        lean = self._inverse @ by_bench
        squares = float(value @ (value * self._per_row) - self._between * (self._shrink * by_unit) @ by_unit)
        return self._shrink * by_unit - self.by_bench @ lean, max(squares - float(by_bench @ lean), 0.0)

    def _sums(self, value: Floats) -> tuple[Floats, Floats]:
        """Weighted sums by unit and, with units' effects taken into account, by bench."""
        rows, weighted = self.rows, value * self._per_row
        by_unit = np.bincount(rows.unit, weighted, minlength=rows.units).astype(float)
        by_bench = np.bincount(rows.bench, weighted, minlength=rows.benches)
        return by_unit, by_bench - self._between * (self.by_bench.T @ by_unit)

    def effect(self, over: Floats) -> Effect:
        """The slope of the units' effects over `over`, a figure a unit (nought and one for two sides)."""
        units, squares = self.left(self.rows.value)
        score, through = float(over @ units), over @ self.by_bench
        information = self.information(over, through)
        size = score / information if information > 0 else 0.0
        return Effect(size, information, max(squares - score * size, 0.0), self.freedom - 1)

    def information(self, over: Floats, through: Floats | None = None) -> float:
        """How much the rows can tell about a slope over `over`; nought where benches hide it."""
        through = over @ self.by_bench if through is None else through
        spread_over = float((over**2) @ self.weight)
        found = spread_over - float(through @ self._inverse @ through)
        return found if found > 1e-9 * max(spread_over, 1e-300) else 0.0

    def steps(self) -> tuple[Floats, Floats, float]:
        """Score and information of a step after each unit but the last, and the squares without a step."""
        units, squares = self.left(self.rows.value)
        score = -np.cumsum(units)[:-1]
        through = np.cumsum(self.by_bench, axis=0)[:-1]
        own = np.cumsum(self.weight)[:-1]
        information = own - np.einsum("kb,bc,kc->k", through, self._inverse, through)
        information[information <= 1e-9 * max(float(own[-1]), 1e-300)] = 0.0
        return score, information, squares

    def leans(self, over: Floats, size: float) -> Floats:
        """Each bench's lean where units change by `size` over `over`."""
        lean: Floats = self._inverse @ self._sums(self.rows.value - size * over[self.rows.unit])[1]
        return lean


def _inverse(design: Floats) -> Floats:
    """The pseudoinverse of a symmetric matrix: benches without rows leave it singular."""
    values, vectors = np.linalg.eigh(design)
    told = np.abs(values) > _SINGULAR * np.abs(values).max(initial=0.0)
    found: Floats = (vectors[:, told] / values[told]) @ vectors[:, told].T
    return found
