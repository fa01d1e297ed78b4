"""How likely the next unit meets a need, and how far two settings lie apart in margins."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from registry.statistics.differences import Estimate
from registry.statistics.domains import Domain
from registry.statistics.robust import Floats

# As many rows as this are worth of the belief that metrics do not go together, held before looking.
_BELIEF = 6.0
_SURE = 8.0
_SEED = 20_060


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


def chance_alone(ahead: Estimate, need: Need) -> float:
    """Chance that the value ahead meets the need, by Student's t."""
    low, high = _as_normal(ahead, need)
    return float(special.ndtr(high) - special.ndtr(low))


def chance(aheads: Sequence[Estimate], needs: Sequence[Need], together: Floats) -> float:
    """Chance that all values ahead meet their needs at once.

    Each by Student's t; what binds them is a normal copula with the correlations `together` (a row and a
    column a value). With more than two values the integral follows a fixed quasi-random rule, good to about
    0.001.
    """
    ends = [_as_normal(ahead, need) for ahead, need in zip(aheads, needs, strict=True)]
    if len(ends) == 1:
        return chance_alone(aheads[0], needs[0])
    low, high = (np.clip(np.array(side), -_SURE, _SURE) for side in zip(*ends, strict=True))
    if np.any(low >= high):
        return 0.0
    if len(ends) == 2:
        return _two(low, high, float(together[0, 1]))
    found = stats.multivariate_normal.cdf(
        high, mean=np.zeros(len(ends)), cov=together, lower_limit=low, rng=np.random.default_rng(_SEED)
    )
    return float(np.clip(found, 0.0, 1.0))


def correlations(values: Floats) -> Floats:
    """Correlations of the columns over rows, drawn towards none the fewer rows there are.

    `values` has a row a unit at a clinic and a column a metric. Columns that do not vary go with nothing.
    """
    rows, columns = values.shape
    if rows < 3:
        return np.eye(columns)
    apart = values - values.mean(axis=0)
    size = np.sqrt((apart**2).sum(axis=0))
    size = np.where(size > 1e-12 * np.abs(values).max(initial=1e-300), size, np.inf)
    found = apart.T @ apart / np.outer(size, size)
    drawn: Floats = np.clip(found, -0.99, 0.99) * (rows - 1) / (rows - 1 + _BELIEF)
    np.fill_diagonal(drawn, 1.0)
    return drawn


def apart_in_margins(
    old: Mapping[str, float], new: Mapping[str, float], margins: Mapping[str, float]
) -> dict[str, float]:
    """New less old of each metric, over its margin. A setting is as near as its furthest metric."""
    return {metric: (new[metric] - old[metric]) / margins[metric] for metric in old}


def _as_normal(ahead: Estimate, need: Need) -> tuple[float, float]:
    """The ends as normal quantiles of equal probability."""
    if ahead.error <= 0:
        low, high = need.ends
        return (-np.inf, np.inf) if low <= ahead.value <= high else (np.inf, np.inf)
    scaled = [(end - ahead.value) / ahead.error for end in need.ends]
    # From the nearer tail, so that nothing is lost far out.
    ends = [
        -np.sign(x) * special.ndtri(special.stdtr(ahead.freedom, -abs(x))) if np.isfinite(x) else x
        for x in scaled
    ]
    return float(ends[0]), float(ends[1])


_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)


def _two(low: Floats, high: Floats, rho: float) -> float:
    """A bivariate normal over a box, summed over the first value."""
    x = low[0] + (high[0] - low[0]) * (_NODES + 1) / 2
    spread = (1 - rho**2) ** 0.5
    inner = special.ndtr((high[1] - rho * x) / spread) - special.ndtr((low[1] - rho * x) / spread)
    density = np.exp(-(x**2) / 2) / np.sqrt(2 * np.pi)
    return float(np.clip(_WEIGHTS @ (density * inner) * (high[0] - low[0]) / 2, 0.0, 1.0))
