"""Does a measured value conform to a limit? Probabilities, guard bands and verdicts by JCGM 106:2012.

The document was not opened; clause numbers and formulae are from memory and reproduce its printed examples.
A measured value with its standard uncertainty leaves the quantity itself normally distributed about the
value (nothing known beforehand but the measurement, clause 7.2), or, where the uncertainty is estimated with
few degrees of freedom, as a scaled and shifted Student's t (JCGM 101:2008, 6.4.9; from memory): a normal tail
would make the risk of a verdict many times too small. Limits, values and uncertainties share one unit.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import optimize, stats

Judgement = Literal["upheld", "not upheld", "undecided"]
WANTED = 0.95


@dataclass(frozen=True)
class Tolerance:
    """The limits a quantity has to keep; None where there is none. At least one, and low below high."""

    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        """Refuse limits that no value could keep, or none at all (ValueError)."""
        if self.low is None and self.high is None:
            raise ValueError("a tolerance needs a limit")
        if self.low is not None and self.high is not None and self.low >= self.high:
            raise ValueError("the lower limit must be below the upper")

    @property
    def ends(self) -> tuple[float, float]:
        """Both limits, infinite where there is none."""
        return (
            -np.inf if self.low is None else self.low,
            np.inf if self.high is None else self.high,
        )


@dataclass(frozen=True)
class Conformity:
    """A verdict, with the probability that the quantity conforms and the risk that the verdict is wrong.

    An undecided one says neither, so its `risk` is None.
    """

    verdict: Judgement
    probability: float
    risk: float | None


def conformance_probability(value: float, u: float, tolerance: Tolerance, freedom: float = np.inf) -> float:
    """How likely the quantity measured as `value` with standard uncertainty `u` keeps the tolerance.

    One limit: clause 7.3, p = Phi((limit - value) / u); two: clause 7.4, the difference of two such. With
    finite `freedom` the degrees of freedom of `u`, and Student's t for Phi. With `u` nought it is 0 or 1, a
    value on the limit conforming. ValueError for a negative `u`.
    """
    if not u >= 0:
        raise ValueError("an uncertainty must not be below nought")
    low, high = tolerance.ends
    if u == 0:
        return float(low <= value <= high)
    one, two = (low - value) / u, (high - value) / u
    # Whichever tail is thinner, so that nothing cancels far from the limits.
    if one > 0:
        return float(stats.t.sf(one, freedom) - stats.t.sf(two, freedom))
    return float(stats.t.cdf(two, freedom) - stats.t.cdf(one, freedom))


def judge(
    value: float, u: float, tolerance: Tolerance, wanted: float = WANTED, freedom: float = np.inf
) -> Conformity:
    """Decide with a guard band on either side: a verdict only where it is right with `wanted` probability.

    `upheld` where conformance is that likely, `not upheld` where its opposite is, else `undecided`. `wanted`
    above a half and below 1 (ValueError). Source: JCGM 106, 8.3.2 (guarded acceptance) and 8.3.3 (guarded
    rejection).
    """
    _check_wanted(wanted)
    probability = conformance_probability(value, u, tolerance, freedom)
    if probability >= wanted:
        return Conformity("upheld", probability, 1 - probability)
    if 1 - probability >= wanted:
        return Conformity("not upheld", probability, probability)
    return Conformity("undecided", probability, None)


def guard_band(u: float, wanted: float = WANTED, freedom: float = np.inf) -> float:
    """How far inside a single limit a value must lie to conform with `wanted` probability: z u (8.3.2).

    With finite `freedom` the quantile is Student's t's.
    """
    _check_wanted(wanted)
    return float(stats.t.ppf(wanted, freedom)) * u


def relative_guarded_limit(limit: float, u_relative: float, wanted: float = WANTED) -> float | None:
    """The value from which on the quantity lies beyond `limit` with `wanted` probability.

    For an uncertainty in proportion to the value, as a share of it; `limit` above nought. None when it is so
    large that no value is enough. Source: JCGM 106, 8.3.3, the example of a speed limit.
    """
    band = guard_band(u_relative, wanted)
    return limit / (1 - band) if band < 1 else None


def acceptance(
    u: float, tolerance: Tolerance, wanted: float = WANTED, freedom: float = np.inf
) -> Tolerance | None:
    """The values that conform with at least `wanted` probability; None when there are none.

    Beside two limits the exact condition is used, which counts the tails beyond both: where the tolerance is
    only a few uncertainties wide, one guard band at each end is not enough. `u` above nought (ValueError).
    """
    _check_wanted(wanted)
    if not u > 0:
        raise ValueError("an uncertainty above nought is needed")
    band = guard_band(u, wanted, freedom)
    if tolerance.low is None or tolerance.high is None:
        low = None if tolerance.low is None else tolerance.low + band
        return Tolerance(low, None if tolerance.high is None else tolerance.high - band)
    low, high = tolerance.low, tolerance.high
    middle = (low + high) / 2

    def excess(value: float) -> float:
        return conformance_probability(value, u, tolerance, freedom) - wanted

    if excess(middle) <= 0:
        return None
    edge = float(optimize.brentq(excess, middle, high, xtol=1e-12 * (high - low)))
    return Tolerance(low + high - edge, edge)


def _check_wanted(wanted: float) -> None:
    if not 0.5 < wanted < 1:
        raise ValueError("the wanted probability must lie between a half and 1")
