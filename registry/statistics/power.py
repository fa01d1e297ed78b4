"""How many more units at how many clinics would tell whether two builds are the same or different."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from registry.statistics.contrasted import Contrasted
from registry.statistics.designs import Codes
from registry.statistics.equivalence import ALPHA
from registry.statistics.estimates import Estimates
from registry.statistics.robust import Floats

WANTED = 0.8
MOST_UNITS = 200
_UNITS_A_CLINIC = 4
_NEVER = MOST_UNITS + 1
_ROUNDS = 3  # of guessing
_SHORT = 0.1  # far more than what a guess of the chance of many units is off by
_WANTED_NORMAL = float(special.ndtri(WANTED))
_TAIL = 1e-9
# With many degrees of freedom the estimated error scatters little, and few nodes tell the same to ten digits.
_MANY_DEGREES = 20.0
_FEW_NODES, _NODES = (np.polynomial.legendre.leggauss(size) for size in (32, 100))


@dataclass(frozen=True)
class Needed:
    """Units of either build, at clinics that measure both, that would tell with 80 % chance if the truth is
    as estimated now; `towards` is what they would show."""

    units: int
    clinics: int
    towards: Literal["same", "different"]


def power_apart(effect: ArrayLike, error: ArrayLike, freedom: ArrayLike, alpha: float = ALPHA) -> Floats:
    """Chance that a two-sided t test finds `effect`, whose standard error is `error`, at level `alpha`.

    Summed over the distribution of the estimated standard error: library routines for the noncentral t give
    no number far out.
    """
    known = np.asarray(freedom, float)
    bar = np.asarray(special.stdtrit(known, 1 - alpha / 2))[..., None]
    shift = (np.abs(effect) / np.asarray(error))[..., None]
    start, end = _ends(known)

    def passing(ratio: Floats) -> Floats:
        return np.asarray(special.ndtr(shift - bar * ratio) + special.ndtr(-shift - bar * ratio))

    return np.asarray(np.minimum(_summed(passing, start, end, known), 1.0))


def power_same(
    effect: ArrayLike, error: ArrayLike, freedom: ArrayLike, margin: ArrayLike, alpha: float = ALPHA
) -> Floats:
    """Chance that two one-sided t tests put a difference of `effect` within the margin.

    Summed over the distribution of the estimated standard error; see D. B. Owen, Biometrika 52 (1965) 437,
    for the same integral.
    """
    known, width = np.asarray(freedom, float), np.asarray(margin, float)
    bar = np.asarray(special.stdtrit(known, 1 - alpha))
    start, end = _ends(known)
    # The estimated error over the true one; beyond this no estimate lies within both limits.
    end = np.maximum(np.minimum(width / (bar * error), end), start)
    upper, lower = (((width + off) / error)[..., None] for off in (-np.asarray(effect), np.asarray(effect)))

    def passing(ratio: Floats) -> Floats:
        reach = bar[..., None] * ratio
        return np.asarray(np.maximum(special.ndtr(upper - reach) - special.ndtr(reach - lower), 0.0))

    return _summed(passing, start, end, known)


def _summed(passing: Callable[[Floats], Floats], start: Floats, end: Floats, freedom: Floats) -> Floats:
    """The chance of passing over all estimated standard errors, each a share of the true one."""
    nodes, weights = _FEW_NODES if freedom.min() >= _MANY_DEGREES else _NODES
    ratio = start[..., None] + (end - start)[..., None] * (nodes + 1) / 2
    summed: Floats = (passing(ratio) * _density(ratio, freedom[..., None])) @ weights * (end - start) / 2
    return summed


def _ends(freedom: Floats) -> tuple[Floats, Floats]:
    """What an estimated standard error over the true one hardly ever lies outside of."""
    low, high = ((special.chdtri(freedom, tail) / freedom) ** 0.5 for tail in (1 - _TAIL, _TAIL))
    return low, high


def _density(ratio: Floats, freedom: Floats) -> Floats:
    """Density of an estimated standard error over the true one."""
    half = freedom / 2
    logs = np.log(2) + half * np.log(half) - special.gammaln(half)
    density: Floats = np.exp(logs + (freedom - 1) * np.log(ratio) - half * ratio**2)
    return density


def needed(of: Contrasted, difference: Estimates, margin: Floats, family: int) -> list[Needed | None]:
    """The fewest further units that would tell at each setting, None where `MOST_UNITS` of either would not.

    `margin` is NaN where there is none. The truth is taken to be as estimated now, the spread between units
    likewise; every further clinic measures up to four units of both builds with one gauge, so that its own
    lean cancels.
    """
    apart = _fewest(_Ahead(of, difference, None, family))
    with np.errstate(invalid="ignore"):
        within = np.flatnonzero(np.abs(difference.value) < margin)
    same = np.full(apart.size, _NEVER)
    same[within] = _fewest(_Ahead(of, difference, margin, family).some(within))
    return [_told(*units) for units in zip(same.tolist(), apart.tolist(), strict=True)]


def _told(same: int, apart: int) -> Needed | None:
    towards: Literal["same", "different"] = "same" if same <= apart else "different"
    units = min(same, apart)
    return None if units == _NEVER else Needed(units, -(-units // _UNITS_A_CLINIC), towards)


@dataclass(frozen=True)
class _Ahead:
    """What further units would tell: same within the margin, different without one."""

    of: Contrasted
    difference: Estimates
    margin: Floats | None
    family: int

    def some(self, places: Codes) -> "_Ahead":
        """The same of some of the settings."""
        margin = None if self.margin is None else self.margin[places]
        return _Ahead(self.of.some(places), self.difference.some(places), margin, self.family)

    def chance(self, units: Codes, at: Codes) -> Floats:
        """Chance that so many `units` more of either build tell at some settings."""
        clinics = -(-units // _UNITS_A_CLINIC)
        further = self._each[at] / units
        now = self.difference.error[at] ** 2
        sure = (now <= 0) | (further <= 0)
        inverse = 1 / np.where(sure, 1.0, now) + 1 / np.where(sure, 1.0, further)
        error, effect = (1 / inverse) ** 0.5, self.difference.value[at]
        freedom = self.of.between_freedom[at].min(axis=1) + np.maximum(2 * units - clinics - 1, 0)
        if self.margin is None:
            found = power_apart(effect, error, freedom, ALPHA / max(self.family, 1))
        else:
            found = power_same(effect, error, freedom, self.margin[at])
        return np.where(sure, 1.0, found)

    def guess(self) -> Codes:
        """About how many units tell with the chance wanted, by normal quantiles, and so at little cost."""
        units = np.full(self.difference.value.size, float(_UNITS_A_CLINIC))
        for _ in range(_ROUNDS):
            bar, spread, _ = self._bar(units)
            with np.errstate(divide="ignore", invalid="ignore"):
                errors = (bar + _WANTED_NORMAL * spread) / self._room
                units = np.ceil(self._each * (errors**2 - 1 / self.difference.error**2))
            units = np.clip(np.where(np.isnan(units), 1.0, units), 1, MOST_UNITS)
        return np.asarray(units, np.intp)

    def is_hopeless(self) -> NDArray[np.bool_]:
        """Where even MOST_UNITS fall far short of the chance wanted: of so many a normal tells enough."""
        bar, spread, freedom = self._bar(np.full(self.difference.value.size, float(MOST_UNITS)))
        with np.errstate(divide="ignore", invalid="ignore"):
            inverse = 1 / self.difference.error**2 + MOST_UNITS / self._each
            found = (self._room * np.sqrt(inverse) * (1 - 1 / (4 * freedom)) - bar) / spread
        return np.asarray(special.ndtr(found) < WANTED - _SHORT)

    def _bar(self, units: Floats) -> tuple[Floats, Floats, Floats]:
        """What a difference over its error has to pass, how much that scatters, and the degrees of freedom.

        By the normal approximation of the noncentral t (Johnson and Welch, Biometrika 31 (1940) 362, from
        memory), fair for few degrees of freedom and good for many.
        """
        more = 2 * units - units / _UNITS_A_CLINIC - 1
        freedom = np.maximum(self.of.between_freedom.min(axis=1) + more, 1.0)
        tail = ALPHA / max(self.family, 1) / 2 if self.margin is None else ALPHA
        bar = np.asarray(special.stdtrit(freedom, 1 - tail))
        return bar, np.sqrt(1 + bar**2 / (2 * freedom)), freedom

    @cached_property
    def _room(self) -> Floats:
        """How far the difference lies from what it is told from."""
        effect = np.abs(self.difference.value)
        return effect if self.margin is None else self.margin - effect

    @cached_property
    def _each(self) -> Floats:
        """The variance of a difference of one more unit of either build."""
        found: Floats = self.of.between.sum(axis=1) + 2 * self.of.run
        return found


def _fewest(ahead: _Ahead) -> Codes:
    """The least number of units that tells often enough: more units never tell less."""
    found = np.full(ahead.difference.value.size, _NEVER)
    hopeful = np.flatnonzero(~ahead.is_hopeless())
    if hopeful.size:
        found[hopeful] = _searched(ahead.some(hopeful))
    return found


def _searched(ahead: _Ahead) -> Codes:
    """The same where it is worth looking for: begins at a guess and goes on in steps that double until it is
    between two numbers, then by halving."""
    units = ahead.guess()
    low, high = np.zeros(units.size, np.intp), np.full(units.size, _NEVER)
    step = 1
    while (at := np.flatnonzero(high - low > 1)).size:
        enough = ahead.chance(units[at], at) >= WANTED
        high[at], low[at] = np.where(enough, units[at], high[at]), np.where(enough, low[at], units[at])
        onwards = np.where(high < _NEVER, np.where(low > 0, (low + high) // 2, high - step), low + step)
        units = np.clip(onwards, low + 1, high - 1)
        step *= 2
    return high
