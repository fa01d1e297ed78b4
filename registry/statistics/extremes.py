"""How far the two furthest of a normal sample lie out: an exact distribution, by recursion over its size.

Take one value out of a sample of m. Its distance from the mean, over the root of the sum of squares and
scaled to at most 1, is the sine of an angle whose density goes as cos^(m-3), and it is independent of the
form of the m - 1 others (they lie on a sphere). It is the largest when it is above the others' largest,
which is a condition on their angle. So the distribution of the largest's angle follows from that for one
value less, and what two largest leave of the sum of squares is the product of two squared cosines.
"""

from functools import lru_cache
from math import lgamma, pi

import numpy as np
from scipy import optimize

from registry.statistics.robust import Floats

_STEPS = 4000
_ANGLES: Floats = np.linspace(0.0, pi / 2, _STEPS + 1)
FEWEST, MOST = 4, 200


@lru_cache(maxsize=256)
def least_left_by_two(size: int, level: float) -> float:
    """Return g with P(G <= g) = `level`, G the share of the sum of squares left without the two largest.

    For a normal sample of `size` from 4 to 200 (ValueError outside) and a level above 0 and below 1. Good
    to 1e-4. F. E. Grubbs, Ann. Math. Stat. 21 (1950) 27 defines G; the recursion is derived above.
    """
    if not FEWEST <= size <= MOST:
        raise ValueError(f"the sample must have {FEWEST} to {MOST} values")
    if not 0 < level < 1:
        raise ValueError("the level must lie between 0 and 1")
    return float(optimize.brentq(lambda left: left_by_two(size, left) - level, 0.0, 1.0, xtol=1e-10))


def left_by_two(size: int, left: float) -> float:
    """P(G <= left) for a normal sample of `size` >= 4; see `least_left_by_two`."""
    below = _largest(size - 1)
    highest = _as_largest(size)
    cosine = np.maximum(np.cos(_ANGLES), 1e-300)
    lowest = np.arccos(np.minimum(np.sqrt(max(left, 0.0)) / cosine, 1.0))
    inside = np.maximum(_at(below, highest) - _at(below, lowest), 0.0)
    return float(size * np.trapezoid(_density(size) * inside, _ANGLES))


@lru_cache(maxsize=16)
def _largest(size: int) -> Floats:
    """P(angle of the largest of `size` values <= each of the angles)."""
    # Of two values the larger has all of the spread: a quarter turn.
    below: Floats = np.where(pi / 2 <= _ANGLES, 1.0, 0.0)
    for count in range(3, size + 1):
        density = count * _density(count) * _at(below, _as_largest(count))
        grown = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * np.diff(_ANGLES))])
        below = grown / grown[-1]
    return below


def _density(size: int) -> Floats:
    """Density of the angle of one value of `size`, at the angles from 0 to a quarter turn."""
    factor = np.exp(lgamma((size - 1) / 2) - lgamma((size - 2) / 2)) / np.sqrt(pi)
    return np.asarray(factor * np.cos(_ANGLES) ** (size - 3), float)


def _as_largest(size: int) -> Floats:
    """Up to which angle the largest of the others may go for a value at each angle to be above it."""
    sine = np.sqrt(size / (size - 2)) * np.tan(np.minimum(_ANGLES, pi / 2 - 1e-12))
    return np.asarray(np.arcsin(np.minimum(sine, 1.0)), float)


def _at(below: Floats, angles: Floats) -> Floats:
    return np.interp(angles, _ANGLES, below)
