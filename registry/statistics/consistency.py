"""Which laboratories stand out of a precision experiment: Mandel's h and k, Cochran's and Grubbs' tests.

The statistics of ISO 5725-2:2019, clauses 8.3.1 (h, k), 8.3.4 (Cochran) and 8.3.5 (Grubbs), and of ASTM E691;
neither text was opened, formulae and roles are from memory and checked against published tables. Critical
values are computed, so that any number of laboratories and any unbalance is served. Everything is without
unit: values may come in any unit, and statistics are ratios.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from registry.statistics.extremes import least_left_by_two
from registry.statistics.robust import Floats

# ISO 5725-2: beyond the 5 % limit a straggler, beyond the 1 % limit an outlier.
STRAGGLING, OUTLYING = 0.05, 0.01
# ASTM E691 draws its lines for h and k at half a per cent.
E691_LEVEL = 0.005
Standing = Literal["", "straggler", "outlier"]
End = Literal["low", "high"]


@dataclass(frozen=True)
class Suspect:
    """The rows that lie furthest out, how far, and the 5 % and 1 % limits of that statistic.

    `low_is_far` is true for statistics that become small when rows stand out (Grubbs' test of a pair).
    """

    rows: tuple[int, ...]
    statistic: float
    limit_5: float
    limit_1: float
    low_is_far: bool = False

    @property
    def standing(self) -> Standing:
        """`outlier` beyond the 1 % limit, `straggler` beyond the 5 % limit, else empty."""
        side = -1.0 if self.low_is_far else 1.0
        if side * self.statistic > side * self.limit_1:
            return "outlier"
        return "straggler" if side * self.statistic > side * self.limit_5 else ""


def mandel_h(means: ArrayLike) -> Floats:
    """Mandel's h of each laboratory: its mean's distance from the mean of means, in their spread.

    Needs three means that are not all alike (ValueError). Source: ISO 5725-2, 8.3.1; ASTM E691.
    """
    values = _values(means, 3)
    spread = float(values.std(ddof=1))
    if spread == 0:
        raise ValueError("all laboratories have the same mean")
    return np.asarray((values - values.mean()) / spread, float)


def mandel_h_limit(labs: int, level: float = E691_LEVEL) -> float:
    """How far |h| of one of `labs` laboratories goes by chance in a share `level` of cases, two-sided.

    h is a transformed Student's t with labs - 2 degrees of freedom.
    """
    t = float(stats.t.ppf(1 - level / 2, labs - 2))
    return float((labs - 1) * t / np.sqrt(labs * (t**2 + labs - 2)))


def mandel_k(spreads: ArrayLike, freedom: ArrayLike) -> Floats:
    """Mandel's k of each laboratory: its standard deviation over the repeatability standard deviation.

    `spreads` are standard deviations within laboratories, `freedom` their degrees of freedom (results less
    one; a number for all, or one a laboratory). The pooled spread weighs by freedom. ValueError when nothing
    spreads. Source: ISO 5725-2, 8.3.1; ASTM E691.
    """
    spread, nu = _spreads(spreads, freedom)
    pooled = float(nu @ spread**2 / nu.sum())
    return np.asarray(spread / np.sqrt(pooled), float)


def mandel_k_limit(labs: int, freedom: ArrayLike, level: float = E691_LEVEL) -> Floats:
    """How far k of each laboratory goes by chance in a share `level` of cases, one-sided.

    k² freedom / total freedom is a beta variable; in balanced tables this is the F form of the standards.
    """
    nu = _freedom(labs, freedom)
    share = stats.beta.ppf(1 - level, nu / 2, (nu.sum() - nu) / 2)
    return np.asarray(np.sqrt(share * nu.sum() / nu), float)


def cochran(spreads: ArrayLike, freedom: ArrayLike) -> Suspect:
    """Cochran's test: has one laboratory a larger variance than goes by chance?

    The statistic is that laboratory's share in the sum of squares within; with equal freedom this is
    Cochran's C = s_max² / sum of s². With unequal freedom the laboratory is the one whose share is the least
    likely, and its own limits are given (R. U. E. 't Lam, Anal. Chim. Acta 659 (2010) 68; from memory).
    Arguments and errors as for `mandel_k`. Source of the balanced test: ISO 5725-2, 8.3.4.
    """
    spread, nu = _spreads(spreads, freedom)
    squares = nu * spread**2
    share = squares / squares.sum()
    beyond = stats.beta.sf(share, nu / 2, (nu.sum() - nu) / 2)
    # Where all tail probabilities underflow, the largest share decides.
    row = int(np.lexsort((-share, beyond))[0])
    limit_5, limit_1 = (float(cochran_limit(nu.size, nu, level)[row]) for level in (STRAGGLING, OUTLYING))
    return Suspect((row,), float(share[row]), limit_5, limit_1)


def cochran_limit(labs: int, freedom: ArrayLike, level: float) -> Floats:
    """Critical value of Cochran's C at `level` for each laboratory; all alike where freedom is."""
    nu = _freedom(labs, freedom)
    return np.asarray(stats.beta.ppf(1 - level / labs, nu / 2, (nu.sum() - nu) / 2), float)


def grubbs(means: ArrayLike) -> Suspect:
    """Grubbs' test of one laboratory: is the mean furthest from the mean of means too far, either side?

    Needs three means that are not all alike (ValueError). Source: ISO 5725-2, 8.3.5.
    """
    apart = np.abs(mandel_h(means))
    row = int(np.argmax(apart))
    limit_5, limit_1 = (grubbs_limit(apart.size, level) for level in (STRAGGLING, OUTLYING))
    return Suspect((row,), float(apart[row]), limit_5, limit_1)


def grubbs_limit(labs: int, level: float) -> float:
    """Critical value of Grubbs' G for one of `labs` at `level`, two-sided as tabulated in ISO 5725-2."""
    return mandel_h_limit(labs, level / labs)


def grubbs_pair(means: ArrayLike, end: End) -> Suspect:
    """Grubbs' test of two laboratories: are the two lowest (or highest) means together too far off?

    The statistic is the sum of squares left without the two over that with them, so that small is far. It
    finds a pair of which each hides the other from `grubbs`. Needs four means not all alike (ValueError).
    Source: ISO 5725-2, 8.3.5; the limits are one-sided, of half of each level, as in its table.
    """
    values = _values(means, 4)
    order = np.argsort(values, kind="stable")
    pair, rest = (order[:2], order[2:]) if end == "low" else (order[-2:], order[:-2])
    whole = float(np.sum((values - values.mean()) ** 2))
    if whole == 0:
        raise ValueError("all laboratories have the same mean")
    left = float(np.sum((values[rest] - values[rest].mean()) ** 2))
    limit_5, limit_1 = (grubbs_pair_limit(values.size, level) for level in (STRAGGLING, OUTLYING))
    rows = (int(pair[0]), int(pair[1]))
    return Suspect(rows, left / whole, limit_5, limit_1, low_is_far=True)


def grubbs_pair_limit(labs: int, level: float) -> float:
    """Critical value of Grubbs' statistic for a pair among `labs`, two-sided as tabulated in ISO 5725-2."""
    return least_left_by_two(labs, level / 2)


def _values(means: ArrayLike, least: int) -> Floats:
    values = np.asarray(means, float)
    if values.ndim != 1 or values.size < least or not np.isfinite(values).all():
        raise ValueError(f"at least {least} finite means are needed")
    return values


def _spreads(spreads: ArrayLike, freedom: ArrayLike) -> tuple[Floats, Floats]:
    spread = _values(spreads, 2)
    if (spread < 0).any():
        raise ValueError("a standard deviation is below nought")
    if not spread.any():
        raise ValueError("nothing spreads within any laboratory")
    return spread, _freedom(spread.size, freedom)


def _freedom(labs: int, freedom: ArrayLike) -> Floats:
    given: Sequence[float] | Floats = np.broadcast_to(np.asarray(freedom, float), (labs,))
    nu = np.asarray(given, float)
    if (nu <= 0).any():
        raise ValueError("every laboratory needs two results or more")
    return nu
