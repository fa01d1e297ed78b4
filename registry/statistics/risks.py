"""What a rule of acceptance lets through, and what it turns away, when units vary as is known beforehand.

Global risks of JCGM 106:2012, 9.5 (from memory; its ball-bearing example is reproduced): units come from a
`prior` distribution, each is measured with a normal error of standard deviation `u`, and is accepted when its
measured value lies in the acceptance interval. All in one unit.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import integrate, optimize, stats

from registry.statistics.conformity import Tolerance
from registry.statistics.robust import Floats

_TAIL = 1e-13
_FINEST = 1e-12


class Prior(Protocol):
    """How units vary: what a frozen continuous distribution of scipy.stats offers."""

    def pdf(self, x: Floats | float) -> Floats:
        """Density at x."""

    def cdf(self, x: float) -> float:
        """Share of units up to x."""

    def ppf(self, q: float) -> float:
        """The value below which a share q of units lies."""


@dataclass(frozen=True)
class Risks:
    """Shares of all units: `bad` ones, bad ones accepted (`consumer`), good ones refused (`producer`)."""

    bad: float
    consumer: float
    producer: float


def global_risks(prior: Prior, u: float, tolerance: Tolerance, accepted: Tolerance) -> Risks:
    """The risks of accepting measured values inside `accepted` for units that should keep `tolerance`.

    `u` above nought (ValueError). Sums the density of units times the chance that their measurement falls on
    the other side than they do (JCGM 106, 9.5.3 and 9.5.4; from memory).
    """
    if not u > 0:
        raise ValueError("an uncertainty above nought is needed")
    low, high = tolerance.ends

    def let_in(x: float) -> float:
        inner, outer = accepted.ends
        return float(stats.norm.cdf((outer - x) / u) - stats.norm.cdf((inner - x) / u))

    consumer = _summed(prior, let_in, -np.inf, low) + _summed(prior, let_in, high, np.inf)
    producer = _summed(prior, lambda x: 1 - let_in(x), low, high)
    bad = (float(prior.cdf(low)) if np.isfinite(low) else 0.0) + (
        1 - float(prior.cdf(high)) if np.isfinite(high) else 0.0
    )
    return Risks(bad, consumer, producer)


def guarded(prior: Prior, u: float, tolerance: Tolerance, consumer: float) -> Tolerance:
    """The acceptance interval, by an equal guard band at every limit, whose consumer's risk is as wanted.

    The band may be negative, where the risk without one is below the wanted. ValueError when no band within
    ten uncertainties (or half the tolerance) brings the risk about.
    """
    widest = 10 * u
    if tolerance.low is not None and tolerance.high is not None:
        widest = min(widest, (tolerance.high - tolerance.low) / 2 * (1 - 1e-9))

    def excess(band: float) -> float:
        return global_risks(prior, u, tolerance, _inside(tolerance, band)).consumer - consumer

    if excess(-10 * u) < 0 or excess(widest) > 0:
        raise ValueError("no guard band brings that risk about")
    return _inside(tolerance, float(optimize.brentq(excess, -10 * u, widest, xtol=1e-10 * u)))


def _inside(tolerance: Tolerance, band: float) -> Tolerance:
    return Tolerance(
        None if tolerance.low is None else tolerance.low + band,
        None if tolerance.high is None else tolerance.high - band,
    )


def _summed(prior: Prior, chance: Callable[[float], float], low: float, high: float) -> float:
    """The share of units between two values, weighed with a chance; the furthest tails hold none."""
    low, high = max(low, float(prior.ppf(_TAIL))), min(high, float(prior.ppf(1 - _TAIL)))
    if low >= high:
        return 0.0
    found, _ = integrate.quad(
        lambda x: float(prior.pdf(x)) * chance(x), low, high, epsabs=_FINEST, epsrel=1e-9, limit=400
    )
    return float(found)
