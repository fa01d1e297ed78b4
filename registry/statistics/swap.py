"""Split the difference between two builds into the part that was swapped and the base that bears it."""

from dataclasses import dataclass

from registry.statistics.differences import Estimate, Fit
from registry.statistics.equivalence import is_clear

# Cells in this order: old base with old part, old base with new part, new base with old, new base with new.
CELLS = ((0, 0), (0, 1), (1, 0), (1, 1))
_TOTAL = (-1.0, 0.0, 0.0, 1.0)
_PART = (-0.5, 0.5, -0.5, 0.5)
_BASE = (-0.5, -0.5, 0.5, 0.5)
_INTERACTION = (1.0, -1.0, -1.0, 1.0)
_ON_OLD = (-1.0, 1.0, 0.0, 0.0)
_ON_NEW = (0.0, 0.0, -1.0, 1.0)


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
    """Work out the split from a fit of the four `CELLS`.

    Each interval is by itself at 95 %. Averaging over both orders of swapping is Shapley's division (L. S.
    Shapley, in: Contributions to the Theory of Games II, 1953), the only one by which part and base add up
    and neither comes first.
    """
    contrasts = (_TOTAL, _PART, _BASE, _INTERACTION, _ON_OLD, _ON_NEW)
    total, part, base, interaction, on_old, on_new = (_share(fit, contrast) for contrast in contrasts)
    return Split(float(fit.means[0]), total, part, base, interaction, on_old, on_new)


def _share(fit: Fit, contrast: tuple[float, ...]) -> Share:
    figure = fit.estimate(contrast)
    low, high = figure.interval()
    alone = fit.estimate((1.0, 0.0, 0.0, 0.0))
    old = alone.value
    if not is_clear(alone):
        return Share(figure.value, low, high, None, None, None)
    share = figure.value / old
    # The ratio's standard error to first order: that of the figure less ratio times old.
    about = fit.estimate((contrast[0] - share, *contrast[1:]))
    share_low, share_high = Estimate(share, about.error / old, about.freedom).interval()
    return Share(figure.value, low, high, share, share_low, share_high)
