"""What values say for a shift when any of them may be wild: none says more than that it is.

A value is sound, and normal, or wild, and then as likely anywhere within `_FURTHEST` spreads, whichever is
likelier. So what one of them says against a centre is bounded, and what several say counts only where they
say the same: two wild units on one side of nought are no shift of all.

Throughout, values `apart` are logarithms, one a unit in order of time, and `variance` is that of each where
it is sound. A `lean` is a standard deviation; infinite where nothing is known of it.
"""

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

# One unit in twenty is wild, by anything up to twenty spreads: common practice, no published source. Beyond
# 3.4 spreads a unit is likelier wild than sound.
_WILD, _FURTHEST = 0.05, 20.0
_MOST = float(2 * np.log((1 - _WILD) / _WILD * 2 * _FURTHEST / np.sqrt(2 * np.pi)))
_COARSE, _FINE = 200, 41
_NOUGHT = np.zeros(1)


def against(apart: Floats, variance: Floats, centre: Floats) -> Floats:
    """What each value says against each centre, twice a log likelihood: a row a value, a column a centre.

    The square of how many spreads it is apart, as long as that is likelier than a wild one.
    """
    found: Floats = np.minimum((apart[:, None] - centre) ** 2 / variance[:, None], _MOST)
    return found


def said_for_lean(apart: Floats, variance: Floats, lean: float) -> float:
    """What values say for any centre at all against one that is nought but for a spread of `lean`: a chi
    square of one degree of freedom where there is none."""
    return max(_best(apart, variance, lean)[1] - _best(apart, variance)[1], 0.0)


def said_for_step(apart: Floats, variance: Floats, place: int, lean: float) -> tuple[float, float]:
    """What values say for a step, and what they say without the one that says most for it.

    Those from the row `place` on come after it. The first is a chi square of one degree of freedom where
    there is no step, the other less than that. The centre before is nought but for a spread of `lean`.
    """
    later = np.arange(apart.size) >= place
    each, whole = _of_step(apart, variance, later, lean)
    kept = np.arange(apart.size) != int(np.argmax(each))
    return whole, _of_step(apart[kept], variance[kept], later[kept], lean)[1]


def _of_step(apart: Floats, variance: Floats, later: NDArray[np.bool_], lean: float) -> tuple[Floats, float]:
    """What each value says for a step, and all together."""
    none, least = _best(apart, variance, lean)
    (before, said), (after, said_after) = (
        _best(apart[side], variance[side], spread) for side, spread in ((~later, lean), (later, np.inf))
    )
    centre = np.where(later, after, before)
    each = against(apart - none, variance, _NOUGHT) - against(apart - centre, variance, _NOUGHT)
    return each[:, 0], max(least - said - said_after, 0.0)


def _best(apart: Floats, variance: Floats, lean: float = np.inf) -> tuple[float, float]:
    """The centre that values say least against, and how much; it is nought but for a spread of `lean`.

    Looked for on a grid and then on a finer one: what is bounded has many hollows.
    """
    if not apart.size:
        return 0.0, 0.0
    low, high = min(float(apart.min()), 0.0), max(float(apart.max()), 0.0)
    step = (high - low) / (_COARSE - 1)
    grid = np.linspace(low, high, _COARSE)
    grid = grid[np.argmin(_said(apart, variance, grid, lean))] + step * np.linspace(-1, 1, _FINE)
    said = _said(apart, variance, grid, lean)
    return float(grid[np.argmin(said)]), float(said.min())


def _said(apart: Floats, variance: Floats, grid: Floats, lean: float) -> Floats:
    found: Floats = against(apart, variance, grid).sum(axis=0) + (grid / lean) ** 2
    return found
