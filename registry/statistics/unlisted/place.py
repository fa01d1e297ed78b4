"""Where along an order a change lies, and how surely."""

from dataclasses import dataclass

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Rows
from registry.statistics.unlisted.within import Within

_HELD = 0.95


@dataclass(frozen=True)
class Place:
    """A change after the first `before` units; with 95 % after `low` to `high` of them (both included).

    `probability` is that of this very place among all, each as likely beforehand.
    """

    before: int
    low: int
    high: int
    probability: float

    def moved(self, by: int) -> "Place":
        """The same place in an order that begins so many units earlier."""
        return Place(self.before + by, self.low + by, self.high + by, self.probability)


def place_of(rows: Rows, before: int, cuts: np.ndarray | None = None, limits: Limits = LIMITS) -> Place:
    """Weigh every place by how well a step there explains the rows, from the one known as `before`.

    `rows` are reined. Places are weighed by the profile likelihood, which is what is believed of a place
    when all were as likely beforehand and nothing was known of the size of the step.
    """
    score, information, squares = Within(rows).steps()
    gain = np.where(information > 0, score**2 / np.where(information > 0, information, 1.0), -np.inf)
    if cuts is not None:
        gain = np.where(cuts[: gain.size], gain, -np.inf)
    best = int(np.argmax(gain))
    freedom = limits.weight + max(Within(rows).freedom - 1, 0)
    scale = (limits.weight + max(squares - float(gain[best]), 0.0)) / freedom
    weight = np.exp((gain - gain[best]) / (2.0 * scale))
    weight /= weight.sum()
    low, high = _held(weight)
    at = best + 1 if low <= best + 1 <= high else before
    return Place(at, low, high, float(weight[at - 1]))


def _held(weight: Floats) -> tuple[int, int]:
    """The first and last of the likeliest places that together hold 95 %, as numbers of units before."""
    order = np.argsort(-weight, kind="stable")
    enough = int(np.searchsorted(np.cumsum(weight[order]), _HELD - 1e-12)) + 1
    chosen = order[:enough]
    return int(chosen.min()) + 1, int(chosen.max()) + 1
