"""How likely the next unit meets a need, at one place or at many."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from registry.statistics.boxes import box_chances
from registry.statistics.differences import Estimate
from registry.statistics.domains import Domain
from registry.statistics.robust import Floats

_KNOWN = ("value", "error", "freedom")
Rows = NDArray[np.intp]


@dataclass(frozen=True)
class Need:
    """What a value has to lie within, both ends included; None where there is no end."""

    low: float | None = None
    high: float | None = None

    def __post_init__(self) -> None:
        """Refuse a need that nothing or everything meets (ValueError)."""
        if self.low is None and self.high is None:
            raise ValueError("a need has at least one end")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError("the lower end must not be above the upper")

    @property
    def ends(self) -> tuple[float, float]:
        """Both ends, infinite where there is none."""
        low, high = self.low, self.high
        return (-np.inf if low is None else low, np.inf if high is None else high)


def within(need: Need, domain: Domain) -> Need:
    """The same need of values that lie in `domain`, which a Student's t does not know of.

    An end at or beyond the domain's is none, and what lies wholly outside of it nothing meets.
    """
    low, high = need.ends
    if low > domain.high or high < domain.low:
        return Need(np.inf, np.inf)
    return Need(-np.inf if low <= domain.low else low, np.inf if high >= domain.high else high)


@dataclass(frozen=True)
class Predictions:
    """What is ahead at many places: a row a place, a column a metric, or of one metric, by Student's t.

    `error` is the standard error of one value ahead, `freedom` the degrees of freedom it is known to.
    `least` is set where units lie at the least value there can be, see `with_bound`.
    """

    value: Floats
    error: Floats
    freedom: Floats
    least: Floats | None = None

    def at(self, rows: Rows) -> "Predictions":
        """Those of some places."""
        least = None if self.least is None else self.least[rows]
        return Predictions(self.value[rows], self.error[rows], self.freedom[rows], least)

    def with_bound(self, at_bound: Floats, units: Floats) -> "Predictions":
        """The same where `at_bound` of the units lie at the least value there can be, with all their runs.

        A Student's t knows of no such bound and makes a half of it where all units lie there, however many
        they are. So the next unit lies there with a chance of (at_bound + 1) / (units + 2) at least: the rule
        of succession, for a share of units of which nothing was known before (P. S. Laplace, 1774; from
        memory). `least` is the quantile of the Student's t below which as much lies, -inf where no unit is
        at the bound. It counts for needs that were put `within` the domain.
        """
        some = at_bound > 0
        if not some.any():
            return self
        share = np.where(some, (at_bound + 1) / (units + 2), 0.5)
        out = special.stdtrit(np.where(some, self.freedom, 1.0), share)
        return replace(self, least=np.where(some, out, -np.inf))

    def intervals(self, coverage: float = 0.95) -> tuple[Floats, Floats]:
        """Both ends."""
        half = special.stdtrit(self.freedom, (1 + coverage) / 2) * self.error
        return self.value - half, self.value + half

    def scaled(self, needs: Sequence[Need]) -> tuple[Floats, Floats]:
        """Both ends of the needs, a need a metric, counted from the value in standard errors."""
        low, high = (np.array(ends) for ends in zip(*(need.ends for need in needs), strict=True))
        with np.errstate(divide="ignore", invalid="ignore"):
            scaled = [(end - self.value) / self.error for end in (low, high)]
        sure = self.error <= 0
        if self.least is not None:
            # Within a domain every end lies at its bound or beyond, unless there is none.
            scaled = [np.where(np.isneginf(end), end, np.fmax(end, self.least)) for end in scaled]
            sure &= np.isneginf(self.least)
        if not sure.any():
            return scaled[0], scaled[1]
        inside = (low <= self.value) & (self.value <= high)
        scaled[0] = np.where(sure, np.where(inside, -np.inf, np.inf), scaled[0])
        scaled[1] = np.where(sure, np.inf, scaled[1])
        return scaled[0], scaled[1]


def beside(columns: Sequence[Predictions]) -> Predictions:
    """Those of single metrics, a column each."""
    known = Predictions(*(np.stack([getattr(of, name) for of in columns], axis=1) for name in _KNOWN))
    if all(of.least is None for of in columns):
        return known
    least = [np.full_like(of.value, -np.inf) if of.least is None else of.least for of in columns]
    return replace(known, least=np.stack(least, axis=1))


def chance_alone(ahead: Estimate, need: Need) -> float:
    """Chance that the value ahead meets the need, by Student's t."""
    return float(chances_alone(_one_place([ahead]), [need])[0, 0])


def chances_alone(ahead: Predictions, needs: Sequence[Need]) -> Floats:
    """The same of many places, metric by metric."""
    return chances_each(ahead, needs)[2]


def chances_each(ahead: Predictions, needs: Sequence[Need]) -> tuple[Floats, Floats, Floats]:
    """Both ends of the needs as normal quantiles, and the chances between them, metric by metric."""
    low, high = (_as_normal(end, ahead.freedom) for end in ahead.scaled(needs))
    return low, high, special.ndtr(high) - special.ndtr(low)


def chance(aheads: Sequence[Estimate], needs: Sequence[Need], together: Floats) -> float:
    """Chance that all values ahead meet their needs at once.

    Each by Student's t; what binds them is a normal copula with the correlations `together` (a row and a
    column a value); see `boxes.box_chances`.
    """
    return float(chances(_one_place(aheads), needs, together[None])[0])


def chances(ahead: Predictions, needs: Sequence[Need], together: Floats) -> Floats:
    """The same of many places; `together` holds a matrix a place."""
    low, high, _ = chances_each(ahead, needs)
    return box_chances(low, high, together)


def _one_place(aheads: Sequence[Estimate]) -> Predictions:
    return Predictions(*(np.array([[getattr(one, name) for one in aheads]]) for name in _KNOWN))


def _as_normal(scaled: Floats, freedom: Floats) -> Floats:
    """Normal quantiles of the same probability as those of Student's t."""
    found, ends = scaled.copy(), np.isfinite(scaled)
    # From the nearer tail, so that nothing is lost far out.
    tail = special.stdtr(freedom[ends], -np.abs(scaled[ends]))
    found[ends] = -np.sign(scaled[ends]) * special.ndtri(tail)
    return found
