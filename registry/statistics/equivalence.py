"""Same or different: two one-sided tests against a margin that matters, and a test against no difference.

Source of the two one-sided tests (TOST): D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from registry.statistics.contrasted import Contrasted, contrasted
from registry.statistics.differences import Fit
from registry.statistics.estimates import Estimate, Estimates
from registry.statistics.robust import Floats

Verdict = Literal["same", "different", "cannot tell yet"]
SAME: Verdict = "same"
DIFFERENT: Verdict = "different"
UNTOLD: Verdict = "cannot tell yet"
_VERDICTS = (SAME, DIFFERENT, UNTOLD)
ALPHA = 0.05
_ROUNDING = 1e-9
# A share is told of what lies so many of its own standard errors above nought; nearer, it could be anything.
_CLEAR = 2.0


@dataclass(frozen=True)
class Margin:
    """The least difference that matters: in the metric's unit, or as a share of the old value."""

    value: float
    relative: bool = False

    def at(self, old: float) -> float:
        """The margin in the metric's unit where the old value is `old`."""
        return self.value * abs(old) if self.relative else self.value


@dataclass(frozen=True)
class Judged:
    """New less old at one setting.

    `low` and `high` hold all differences of a family of `family` settings together at 95 % (Bonferroni);
    `share_low` and `share_high` the same as a share of the old value. `p_apart` is against no difference,
    times the family; `p_same` the TOST's, None without a margin. `same_low` and `same_high` are the interval
    that goes with it, of this setting alone at 90 %: it is the same where both lie within the margin.
    `beyond` says whether the whole interval of the family lies beyond the margin, where there is one.
    """

    old: Estimate
    new: Estimate
    difference: Estimate
    low: float
    high: float
    share: float | None
    share_low: float | None
    share_high: float | None
    margin: float | None
    p_apart: float
    p_same: float | None
    same_low: float | None
    same_high: float | None
    beyond: bool | None
    verdict: Verdict


@dataclass(frozen=True)
class Verdicts:
    """Many of them as columns; what is None in `Judged` is NaN here, and `beyond` False without a margin."""

    old: Estimates
    new: Estimates
    difference: Estimates
    low: Floats
    high: Floats
    share: Floats
    share_low: Floats
    share_high: Floats
    margin: Floats
    p_apart: Floats
    p_same: Floats
    same_low: Floats
    same_high: Floats
    beyond: NDArray[np.bool_]
    verdict: list[Verdict]

    def one(self, place: int) -> Judged:
        """One of them by itself."""
        margin = _or_none(self.margin[place])
        return Judged(
            old=self.old.one(place),
            new=self.new.one(place),
            difference=self.difference.one(place),
            low=float(self.low[place]),
            high=float(self.high[place]),
            share=_or_none(self.share[place]),
            share_low=_or_none(self.share_low[place]),
            share_high=_or_none(self.share_high[place]),
            margin=margin,
            p_apart=float(self.p_apart[place]),
            p_same=_or_none(self.p_same[place]),
            same_low=_or_none(self.same_low[place]),
            same_high=_or_none(self.same_high[place]),
            beyond=None if margin is None else bool(self.beyond[place]),
            verdict=self.verdict[place],
        )


def judge_pair(fit: Fit, margin: Margin | None, family: int) -> Judged:
    """Judge new against old of one fit as `judge` does many."""
    return judge(contrasted(fit.alone), [margin], family).one(0)


def judge(of: Contrasted, margins: Sequence[Margin | None], family: int) -> Verdicts:
    """Judge new against old at each of some settings, all of a `family` looked at together.

    `same` where the TOST at 5 % puts the difference within the margin, even where it is surely not nought:
    it is too small to matter. Else `different` where it is not nought with the family's error at most 5 %
    (Bonferroni). Else `cannot tell yet`. An overall `same` needs every setting to be same, so that it keeps
    its 5 % without adjustment (an intersection-union test).
    """
    coverage = 1 - ALPHA / max(family, 1)
    old, new = of.old, of.new
    difference = _beyond_rounding(of.difference, np.maximum(np.abs(old.value), np.abs(new.value)))
    low, high = difference.interval(coverage)
    share, share_low, share_high = _shares(of, old, difference, coverage)
    value = np.array([np.nan if margin is None else margin.value for margin in margins], float)
    relative = np.array([margin is not None and margin.relative for margin in margins], bool)
    width = np.where(relative, value * np.abs(old.value), value)
    p_same, same_low, same_high = _within(of, value, relative, width)
    p_apart = np.minimum(1.0, family * difference.p_apart())
    with np.errstate(invalid="ignore"):
        beyond = (low > width) | (high < -width)
        verdict = np.where(p_same <= ALPHA, 0, np.where(p_apart <= ALPHA, 1, 2))
    told = [_VERDICTS[at] for at in verdict.tolist()]
    return Verdicts(
        old, new, difference, low, high, share, share_low, share_high, width, p_apart, p_same, same_low,
        same_high, beyond, told,
    )  # fmt: skip


def _shares(
    of: Contrasted, old: Estimates, difference: Estimates, coverage: float
) -> tuple[Floats, Floats, Floats]:
    """The differences as shares of the old values with both ends, NaN unless those are clear."""
    clear = is_clear(old)
    by = np.where(clear, old.value, 1.0)
    share = np.where(clear, difference.value / by, 0.0)
    # The ratio's standard error to first order: that of new less ratio times old.
    ratio = of.beyond(share)
    low, high = Estimates(share, ratio.error / by, ratio.freedom).interval(coverage)
    shown = (np.where(clear, values, np.nan) for values in (share, low, high))
    return next(shown), next(shown), next(shown)


def is_clear(old: Estimates) -> NDArray[np.bool_]:
    """Whether values are so surely above nought that shares of them mean something."""
    clear: NDArray[np.bool_] = (old.value > _CLEAR * old.error) & (old.value > 0)
    return clear


def _beyond_rounding(difference: Estimates, size: Floats) -> Estimates:
    """Where nothing scatters at all, what arithmetic leaves over is no difference."""
    error = np.maximum(difference.error, _ROUNDING * size)
    return Estimates(difference.value, error, difference.freedom)


def overall(verdicts: list[Verdict]) -> Verdict:
    """Different where any setting is, same where all are; without settings nothing can be told."""
    if DIFFERENT in verdicts:
        return DIFFERENT
    return SAME if verdicts and all(v == SAME for v in verdicts) else UNTOLD


def _within(
    of: Contrasted, value: Floats, relative: NDArray[np.bool_], width: Floats
) -> tuple[Floats, Floats, Floats]:
    """The larger p of the two one-sided tests, and the ends that these hold against the margin; NaN without.

    A relative margin is tested as a contrast of both means, as sure as both are together; its ends are
    counted from the margin at the old value, so that they lie within it where the tests say so.
    """
    at = np.flatnonzero(~np.isnan(value))
    value, relative, width = value[at], relative[at], width[at]
    share, bound = np.where(relative, value, 0.0), np.where(relative, 0.0, value)
    moved = np.where(relative, width, 0.0)
    # What is tested against the upper limit, and then what is against the lower one.
    both = of.some(np.tile(at, 2)).beyond(np.concatenate([share, -share]))
    below, above = both.some(np.s_[: at.size]), both.some(np.s_[at.size :])
    told = np.full((3, of.run.size), np.nan)
    told[0, at] = np.maximum(below.p_below(bound), above.p_above(-bound))
    low, high = both.interval(1 - 2 * ALPHA)
    told[1, at], told[2, at] = low[at.size :] - moved, high[: at.size] + moved
    return told[0], told[1], told[2]


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
