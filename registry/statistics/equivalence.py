"""Same or different: two one-sided tests against a margin that matters, and a test against no difference.

Source of the two one-sided tests (TOST): D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15 (1987) 657.
"""

from dataclasses import dataclass, replace
from typing import Literal

from scipy import stats

from registry.statistics.differences import Estimate, Fit
from registry.statistics.strata import Contrasts, contrasts_of

Verdict = Literal["same", "different", "cannot tell yet"]
SAME: Verdict = "same"
DIFFERENT: Verdict = "different"
UNTOLD: Verdict = "cannot tell yet"
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
    times the family; `p_same` the TOST's, None without a margin. `beyond` says whether the whole interval
    lies beyond the margin, where there is one.
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
    beyond: bool | None
    verdict: Verdict


def judge_pair(fit: Fit, margin: Margin | None, family: int, of: Contrasts | None = None) -> Judged:
    """Judge cell 1 (new) against cell 0 (old), one of `family` settings looked at together.

    `of` says what old and new are where a fit has several strata.

    `same` where the TOST at 5 % puts the difference within the margin, even where it is surely not nought:
    it is too small to matter. Else `different` where it is not nought with the family's error at most 5 %
    (Bonferroni). Else `cannot tell yet`. An overall `same` needs every setting to be same, so that it keeps
    its 5 % without adjustment (an intersection-union test).
    """
    of = contrasts_of(fit) if of is None else of
    old, new = fit.estimate(of.old), fit.estimate(of.new)
    difference = _beyond_rounding(fit.estimate(of.new - of.old), max(abs(old.value), abs(new.value)))
    low, high = difference.interval(1 - ALPHA / max(family, 1))
    share = share_low = share_high = None
    if is_clear(old):
        share = difference.value / old.value
        # The ratio's standard error to first order: that of new less ratio times old.
        ratio = fit.estimate(of.new - (1 + share) * of.old)
        share_low, share_high = Estimate(share, ratio.error / old.value, ratio.freedom).interval(
            1 - ALPHA / max(family, 1)
        )
    width = margin.at(old.value) if margin else None
    p_apart = min(1.0, family * difference.p_apart())
    p_same = _p_within(fit, margin, of) if margin else None
    beyond = None if width is None else low > width or high < -width
    return Judged(
        old, new, difference, low, high, share, share_low, share_high, width, p_apart, p_same, beyond,
        verdict_of(p_same, p_apart),
    )  # fmt: skip


def is_clear(old: Estimate) -> bool:
    """Whether a value is so surely above nought that shares of it mean something."""
    return old.value > _CLEAR * old.error and old.value > 0


def _beyond_rounding(difference: Estimate, size: float) -> Estimate:
    """Where nothing scatters at all, what arithmetic leaves over is no difference."""
    return replace(difference, error=max(difference.error, _ROUNDING * size))


def verdict_of(p_same: float | None, p_apart: float) -> Verdict:
    """The verdict from the two p-values at 5 %; `same` goes before `different`."""
    if p_same is not None and p_same <= ALPHA:
        return SAME
    return DIFFERENT if p_apart <= ALPHA else UNTOLD


def overall(verdicts: list[Verdict]) -> Verdict:
    """Different where any setting is, same where all are; without settings nothing can be told."""
    if DIFFERENT in verdicts:
        return DIFFERENT
    return SAME if verdicts and all(v == SAME for v in verdicts) else UNTOLD


def _p_within(fit: Fit, margin: Margin, of: Contrasts) -> float:
    """The larger p of the two one-sided tests. A relative margin is tested as a contrast of both means."""
    if margin.relative:
        below = fit.estimate(of.new - (1 + margin.value) * of.old).p_below(0.0)
        above = fit.estimate(of.new - (1 - margin.value) * of.old).p_above(0.0)
        return max(below, above)
    difference = fit.estimate(of.new - of.old)
    return max(difference.p_below(margin.value), difference.p_above(-margin.value))


def critical(freedom: float, family: int = 1) -> float:
    """How many standard errors a difference must reach to be called different among `family` settings."""
    return float(stats.t.ppf(1 - ALPHA / 2 / max(family, 1), freedom))
