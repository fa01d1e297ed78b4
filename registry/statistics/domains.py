"""Where the values of a metric can lie at all, and which metrics are shares of what was counted."""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from scipy import optimize, stats

_MOST_COUNTED = 1e9
# Fewer events than this are rounding, and too few for the beta distribution's own arithmetic.
_NONE = 1e-9


@dataclass(frozen=True)
class Domain:
    """The least and the greatest value there can be. A `share` counts events out of `high` possible ones."""

    low: float = -np.inf
    high: float = np.inf
    share: bool = False


ANYWHERE = Domain()
_NOT_NEGATIVE = Domain(low=0.0)
# A level of vacuum may be read below nought (a gauge's zero, a puff of pressure on release), and a drift
# falls as well as rises; everything else stops at nought.
_DOMAINS = MappingProxyType(
    {
        "cycle_rate": _NOT_NEGATIVE,
        "peak_vacuum": ANYWHERE,
        "residual_vacuum": ANYWHERE,
        "vacuum_swing": _NOT_NEGATIVE,
        "mean_vacuum": ANYWHERE,
        "pull_time": _NOT_NEGATIVE,
        "release_time": _NOT_NEGATIVE,
        "hold_time": _NOT_NEGATIVE,
        "duty_factor": Domain(0.0, 1.0),
        "peak_pull_rate": _NOT_NEGATIVE,
        "peak_spread": _NOT_NEGATIVE,
        "period_spread": _NOT_NEGATIVE,
        "peak_drift": ANYWHERE,
        "loss_rate": Domain(0.0, 100.0, share=True),
        "settling_time": _NOT_NEGATIVE,
    }
)
KNOWN = frozenset(_DOMAINS)


def domain_of(metric: str) -> Domain:
    """Return where the values of `metric` can lie; anywhere for a metric that is not listed."""
    return _DOMAINS.get(metric, ANYWHERE)


def share_limits(events: float, counted: float, coverage: float = 0.95) -> tuple[float, float]:
    """Limits of a share from `events` among `counted`, from 0 to 1, by Clopper and Pearson.

    Without any event the lower limit is 0 and the upper about 3.7 / counted, so that having seen none is
    never certainty that there are none. Both may be fractions, where a count is only inferred. Source:
    C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404.
    """
    tail = (1 - coverage) / 2
    low = stats.beta.ppf(tail, events, counted - events + 1) if events > _NONE else 0.0
    high = stats.beta.ppf(1 - tail, events + 1, counted - events) if counted - events > _NONE else 1.0
    return float(low), float(high)


def counted_behind(share: float, u: float) -> float:
    """How many were counted for a share known to the standard uncertainty `u` under Jeffreys' prior.

    The inverse of the variance of a beta distribution with half an event more on either side; 0 where `u` is
    as large as with nothing counted, and infinite where it is nought.
    """
    if u <= 0:
        return np.inf

    def excess(counted: float) -> float:
        one, two = share * counted + 0.5, (1 - share) * counted + 0.5
        return one * two / ((counted + 1) ** 2 * (counted + 2)) - u**2

    if excess(0.0) <= 0:
        return 0.0
    if excess(_MOST_COUNTED) >= 0:
        return np.inf
    return float(optimize.brentq(excess, 0.0, _MOST_COUNTED))
