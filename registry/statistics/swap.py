"""Split the difference between two builds into the part that was swapped and the base that bears it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from registry.statistics.differences import Fit, Fits
from registry.statistics.equivalence import is_clear
from registry.statistics.estimates import Estimates
from registry.statistics.robust import Floats

# Cells in this order: old base with old part, old base with new part, new base with old, new base with new.
CELLS = ((0, 0), (0, 1), (1, 0), (1, 1))
_TOTAL = (-1.0, 0.0, 0.0, 1.0)
_PART = (-0.5, 0.5, -0.5, 0.5)
_BASE = (-0.5, -0.5, 0.5, 0.5)
_INTERACTION = (1.0, -1.0, -1.0, 1.0)
_ON_OLD = (-1.0, 1.0, 0.0, 0.0)
_ON_NEW = (0.0, 0.0, -1.0, 1.0)
# In the order of the shares of a split.
_CONTRASTS = (_TOTAL, _PART, _BASE, _INTERACTION, _ON_OLD, _ON_NEW)


@dataclass(frozen=True)
class Share:
    """A figure with its 95 % interval, in the metric's unit and as a share of the old build's value.

    Shares are None unless that value is clearly above nought.
    """

    value: float
    low: float
    high: float
    share: float | None
    share_low: float | None
    share_high: float | None


@dataclass(frozen=True)
class Split:
    """`total` is new build less old, each with its own part; `part` and `base` add up to it.

    `part` is what the new part changes, averaged over both bases; `base` what the new base changes, averaged
    over both parts. `interaction` is how much more the new part changes on the new base than on the old one;
    where it is not nought, `part_on_old` and `part_on_new` differ and the average is only that.
    """

    old: float
    total: Share
    part: Share
    base: Share
    interaction: Share
    part_on_old: Share
    part_on_new: Share


def split(fit: Fit) -> Split:
    """Work out the split from one fit of the four `CELLS`, as `splits` does many."""
    return splits(fit.alone)[0]


def splits(found: Fits, order: Sequence[int] = (0, 1, 2, 3)) -> list[Split]:
    """Work out the splits from fits of the four `CELLS`; `order` says which cell of a fit stands for which.

    Each interval is by itself at 95 %. Averaging over both orders of swapping is Shapley's division (L. S.
    Shapley, in: Contributions to the Theory of Games II, 1953), the only one by which part and base add up
    and neither comes first.
    """
    cells = list(order)
    weights = found.weights[:, cells]
    # All shares side by side: it is the number of calls that costs.
    beside = found.some(np.tile(np.arange(len(weights)), len(_CONTRASTS)))
    rows = np.concatenate([np.array(contrast) @ weights for contrast in _CONTRASTS])
    told = _shares(beside, rows, weights[:, 0], found.estimates(weights[:, 0]))
    shares = [told[start :: len(weights)] for start in range(len(weights))]
    olds = found.means[:, cells[0]].tolist()
    return [Split(value, *of) for value, of in zip(olds, shares, strict=True)]


def _shares(beside: Fits, rows: Floats, of_old: Floats, old: Estimates) -> list[Share]:
    """The figures that `rows` make, and their shares of the old values, which have a row a fit."""
    times = len(rows) // len(of_old)
    clear, value, weight = (np.tile(of, times) for of in (is_clear(old), old.value, of_old.T))
    figures = beside.estimates(rows)
    by = np.where(clear, value, 1.0)
    share = np.where(clear, figures.value / by, 0.0)
    # The ratio's standard error to first order: that of the figure less ratio times old.
    about = beside.estimates(rows - share[:, None] * weight.T)
    ends = Estimates(share, about.error / by, about.freedom).interval()
    told = [np.where(clear, values, np.nan) for values in (share, *ends)]
    columns = [values.tolist() for values in (figures.value, *figures.interval(), *told)]
    return [
        Share(value, low, high, *(None if np.isnan(one) else one for one in shares))
        for value, low, high, *shares in zip(*columns, strict=True)
    ]
