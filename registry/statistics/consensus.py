"""What laboratories agree on, each with a value and a standard uncertainty of its own.

The random-effects model: value = consensus + laboratory + error, errors of known variance, laboratories with
a variance that is estimated by one of three methods:

* `dl`: DerSimonian and Laird's moments (Controlled Clinical Trials 7 (1986) 177), never below nought;
* `pm`: Paule and Mandel's (J. Res. NBS 87 (1982) 377): the variance under which the weighted sum of squares
  is what is expected of it, or nought; used for key comparisons of metrology institutes;
* `reml`: restricted maximum likelihood, the global maximum.

Formulae are from memory; results are checked against published ones and against another library.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, stats

from registry.statistics.robust import Floats

Method = Literal["dl", "pm", "reml"]
_GRID = 200


@dataclass(frozen=True)
class Consensus:
    """A consensus value with its standard uncertainty `u`, in the unit of the values.

    `between` is the standard deviation between laboratories beyond their stated uncertainties; `weights` add
    up to one. `q` is Cochran's weighted sum of squares about the fixed-effect mean with labs - 1 degrees of
    freedom, `p_same` its tail probability: small when laboratories differ by more than they state.
    `q_random` is the same sum under the random-effects weights.
    """

    value: float
    u: float
    between: float
    weights: Floats
    q: float
    p_same: float
    q_random: float

    @property
    def labs(self) -> int:
        """How many laboratories."""
        return int(self.weights.size)

    @property
    def inconsistency(self) -> float:
        """I²: the share of the spread that stated uncertainties do not explain, 0 to 1 (Higgins 2002)."""
        freedom = self.labs - 1
        return max((self.q - freedom) / self.q, 0.0) if self.q > 0 else 0.0

    def interval(self, coverage: float = 0.95, *, never_narrower: bool = True) -> tuple[float, float]:
        """Interval of the consensus by Hartung and Knapp (Stat. Med. 20 (2001) 1771), by Student's t.

        It stays honest with few laboratories. Where they happen to agree better than they state it would be
        too narrow, so it is then widened to that of `u` (G. Roever, G. Knapp, T. Friede, BMC Med. Res.
        Methodol. 15 (2015) 99) unless `never_narrower` is off.
        """
        freedom = self.labs - 1
        scale = self.q_random / freedom
        u = self.u * float(np.sqrt(max(scale, 1.0) if never_narrower else scale))
        half = float(stats.t.ppf((1 + coverage) / 2, freedom)) * u
        return self.value - half, self.value + half


def consensus(values: ArrayLike, u: ArrayLike, method: Method = "pm") -> Consensus:
    """The consensus of two laboratories or more.

    `u` are standard uncertainties, finite and above nought, in the unit of the values. ValueError for other
    inputs or a method that is not known.
    """
    x, variance = _checked(values, u)
    between = _between(x, variance, method)
    weight = 1.0 / (variance + between)
    value, q_random = _about(x, weight)
    _, q = _about(x, 1.0 / variance)
    return Consensus(
        value=value,
        u=float(weight.sum() ** -0.5),
        between=float(np.sqrt(between)),
        weights=weight / weight.sum(),
        q=q,
        p_same=float(stats.chi2.sf(q, x.size - 1)),
        q_random=q_random,
    )


def _checked(values: ArrayLike, u: ArrayLike) -> tuple[Floats, Floats]:
    x, own = np.asarray(values, float), np.asarray(u, float)
    if x.ndim != 1 or x.shape != own.shape or x.size < 2:
        raise ValueError("two laboratories or more are needed, each with its uncertainty")
    if not (np.isfinite(x).all() and np.isfinite(own).all() and (own > 0).all()):
        raise ValueError("values must be finite and uncertainties above nought")
    return x, own**2


def _about(x: Floats, weight: Floats) -> tuple[float, float]:
    """The weighted mean and the weighted sum of squares about it."""
    mean = float(weight @ x / weight.sum())
    return mean, float(weight @ (x - mean) ** 2)


def _between(x: Floats, variance: Floats, method: Method) -> float:
    if method == "dl":
        return _by_moments(x, variance)
    if method == "pm":
        return _by_sum_of_squares(x, variance)
    if method == "reml":
        return _by_likelihood(x, variance)
    raise ValueError(f"no method {method!r}; known: dl, pm, reml")


def _by_moments(x: Floats, variance: Floats) -> float:
    weight = 1.0 / variance
    _, q = _about(x, weight)
    expected = float(weight.sum() - (weight**2).sum() / weight.sum())
    return max((q - (x.size - 1)) / expected, 0.0)


def _by_sum_of_squares(x: Floats, variance: Floats) -> float:
    """The root of Q(between) = labs - 1; Q falls as the variance grows, so there is one or none."""

    def excess(between: float) -> float:
        return _about(x, 1.0 / (variance + between))[1] - (x.size - 1)

    if excess(0.0) <= 0:
        return 0.0
    # No weight exceeds 1 / between, so that Q is at most the plain sum of squares over it: labs - 1 here.
    most = float(np.sum((x - x.mean()) ** 2)) / (x.size - 1)
    return float(optimize.brentq(excess, 0.0, most, xtol=1e-15 * most, rtol=1e-13))


def _by_likelihood(x: Floats, variance: Floats) -> float:
    """The best of a wide grid, then refined between its neighbours; nought when nothing beats it."""

    def cost(between: float) -> float:
        total = variance + between
        _, q = _about(x, 1.0 / total)
        return float(np.log(total).sum() + np.log((1.0 / total).sum()) + q)

    spread = float(np.sum((x - x.mean()) ** 2))
    if spread == 0:
        return 0.0
    grid = np.concatenate([[0.0], np.geomspace(1e-8 * spread, 10 * spread, _GRID)])
    best = int(np.argmin([cost(point) for point in grid]))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, grid.size - 1)]
    found = optimize.minimize_scalar(
        cost, bounds=(low, high), method="bounded", options={"xatol": 1e-12 * high}
    )
    refined = _polished(x, variance, float(found.x), (float(low), float(high)))
    return refined if cost(refined) < cost(0.0) else 0.0


def _polished(x: Floats, variance: Floats, near: float, bounds: tuple[float, float]) -> float:
    """The root of the likelihood's slope by `near`, as a minimum itself is known to half the digits only."""

    def slope(between: float) -> float:
        weight = 1.0 / (variance + between)
        mean, _ = _about(x, weight)
        left = float(weight**2 @ (x - mean) ** 2)
        return left - float(weight.sum()) + float((weight**2).sum() / weight.sum())

    low, high = bounds
    if slope(low) <= 0 or slope(high) >= 0:
        return near
    return float(optimize.brentq(slope, low, high, xtol=1e-15 * high, rtol=1e-13))
