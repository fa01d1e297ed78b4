"""How sure it is that one setting lies within margins of another."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, prod

import numpy as np

from registry.statistics.equivalence import ALPHA
from registry.statistics.matching import Need, Predictions, chances_alone
from registry.statistics.robust import Floats

WITHIN, BEYOND, UNTOLD = "within", "not within", "cannot tell"


@dataclass(frozen=True)
class Doubt:
    """A difference metric by metric, both ends of its interval, and its chance of being within its margin.

    All of a metric are NaN where nothing tells how much units scatter.
    """

    differences: Sequence[float]
    lows: Sequence[float]
    highs: Sequence[float]
    chances: Sequence[float]

    @property
    def chance(self) -> float | None:
        """The chance of all metrics at once, taken as not going together; None where one is not known."""
        return None if any(map(isnan, self.chances)) else prod(self.chances)

    @property
    def state(self) -> str:
        """Within margins, not within, or not to be told, at 5 % error, however metrics go together."""
        known = [chance for chance in self.chances if not isnan(chance)]
        if known and min(known) <= ALPHA:
            return BEYOND
        missed = sum(1 - chance for chance in known)
        return WITHIN if len(known) == len(self.chances) and missed <= ALPHA else UNTOLD


def doubts_of(differences: Floats, widths: Sequence[float]) -> list[Doubt]:
    """Return how sure each distance is: pairs of settings by metrics by value, standard error and freedom."""
    value, error, freedom = np.moveaxis(differences, 2, 0)
    ahead = Predictions(value, error, freedom)
    low, high = ahead.intervals()
    chances = chances_alone(ahead, [Need(-width, width) for width in widths])
    return [Doubt(*of) for of in zip(*(each.tolist() for each in (value, low, high, chances)), strict=True)]
