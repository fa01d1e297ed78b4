"""How likely the largest of many steps is by chance."""

import math

from scipy import special, stats


def of_effect(t: float, freedom: float) -> float:
    """The chance of a change as large as `t` standard errors or larger, either way, at a given place."""
    return float(min(2.0 * stats.t.sf(abs(t), freedom), 1.0))


def of_largest(alone: float, places: int, first: float, last: float) -> float:
    """The chance that the least likely of steps at `places` places is as unlikely as `alone`.

    `first` and `last` are the shares of units before the first and the last of the places. The smaller of
    Bonferroni's bound and the approximation for maximally selected statistics by Miller and Siegmund
    (1982, Biometrics 38, 1011; formula from memory, tried by simulation in the tests), the latter at the
    normal deviate as unlikely as `alone`, either way.
    """
    if places <= 0:
        return 1.0
    z = -float(special.ndtri_exp(math.log(max(alone / 2.0, 1e-300))))
    bound = places * alone
    if z > 1.5 and 0 < first < last < 1:
        reach = math.log((1 - first) * last / (first * (1 - last)))
        density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        bound = min(bound, max(density * ((z - 1 / z) * reach + 4 / z), alone))
    return min(bound, 1.0)
