"""How many more units at how many clinics would tell whether two builds are the same or different."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

import numpy as np
from scipy import special

from registry.statistics.differences import Estimate, Fit
from registry.statistics.equivalence import ALPHA
from registry.statistics.robust import Floats

WANTED = 0.8
MOST_UNITS = 200
_UNITS_A_CLINIC = 4
_TAIL = 1e-9
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(100)
_TOWARDS: tuple[Literal["same", "different"], ...] = ("same", "different")


@dataclass(frozen=True)
class Needed:
    """Units of either build, at clinics that measure both, that would tell with 80 % chance if the truth is
    as estimated now; `towards` is what they would show."""

    units: int
    clinics: int
    towards: Literal["same", "different"]


def power_apart(effect: float, error: float, freedom: float, alpha: float = ALPHA) -> float:
    """Chance that a two-sided t test finds `effect`, whose standard error is `error`, at level `alpha`.

    Summed over the distribution of the estimated standard error: library routines for the noncentral t give
    no number far out.
    """
    bar = float(special.stdtrit(freedom, 1 - alpha / 2))
    shift = abs(effect) / error
    start, end = _ends(freedom)
    ratio = start + (end - start) * (_NODES + 1) / 2
    passing = special.ndtr(shift - bar * ratio) + special.ndtr(-shift - bar * ratio)
    return min(float(_WEIGHTS @ (passing * _density(ratio, freedom)) * (end - start) / 2), 1.0)


def power_same(effect: float, error: float, freedom: float, margin: float, alpha: float = ALPHA) -> float:
    """Chance that two one-sided t tests put a difference of `effect` within the margin.

    Summed over the distribution of the estimated standard error; see D. B. Owen, Biometrika 52 (1965) 437,
    for the same integral.
    """
    bar = float(special.stdtrit(freedom, 1 - alpha))
    # The estimated error over the true one; beyond `most` no estimate lies within both limits.
    most = margin / (bar * error)
    start, end = _ends(freedom)
    end = min(most, end)
    if end <= start:
        return 0.0
    ratio = start + (end - start) * (_NODES + 1) / 2
    high, low = (margin - effect) / error - bar * ratio, -(margin + effect) / error + bar * ratio
    passing = np.maximum(special.ndtr(high) - special.ndtr(low), 0.0)
    return float(_WEIGHTS @ (passing * _density(ratio, freedom)) * (end - start) / 2)


def _ends(freedom: float) -> tuple[float, float]:
    """What an estimated standard error over the true one hardly ever lies outside of."""
    low, high = ((special.chdtri(freedom, tail) / freedom) ** 0.5 for tail in (1 - _TAIL, _TAIL))
    return float(low), float(high)


def _density(ratio: Floats, freedom: float) -> Floats:
    """Density of an estimated standard error over the true one."""
    half = freedom / 2
    logs = np.log(2) + half * np.log(half) - special.gammaln(half)
    density: Floats = np.exp(logs + (freedom - 1) * np.log(ratio) - half * ratio**2)
    return density


def needed(fit: Fit, difference: Estimate, margin: float | None, family: int) -> Needed | None:
    """The fewest further units that would tell, None where `MOST_UNITS` of either build would not.

    The truth is taken to be as estimated now, the spread between units likewise; every further clinic
    measures up to four units of both builds with one gauge, so that its own lean cancels.
    """
    found = []
    for towards in _TOWARDS:
        if towards == "same" and (margin is None or abs(difference.value) >= margin):
            continue
        units = _fewest(partial(_told, fit, difference, margin if towards == "same" else None, family))
        if units is not None:
            found.append(Needed(units, -(-units // _UNITS_A_CLINIC), towards))
    return min(found, key=lambda need: need.units, default=None)


def _told(fit: Fit, difference: Estimate, margin: float | None, family: int, units: int) -> float:
    """Chance that `units` more of either build tell: same within the margin, different without one."""
    clinics = -(-units // _UNITS_A_CLINIC)
    run = float(np.mean(fit.readings.noise))
    (old, known_old), (new, known_new) = (fit.between_units(cell) for cell in (0, 1))
    further = (old + new + 2 * run) / units
    now = difference.error**2
    error = (1 / (1 / now + 1 / further)) ** 0.5 if now > 0 and further > 0 else 0.0
    freedom = min(known_old, known_new) + max(2 * units - clinics - 1, 0)
    if error <= 0:
        return 1.0
    if margin is not None:
        return power_same(difference.value, error, freedom, margin)
    return power_apart(difference.value, error, freedom, ALPHA / max(family, 1))


def _fewest(chance: Callable[[int], float]) -> int | None:
    """The least number of units that tells often enough, by halving: more units never tell less."""
    if chance(MOST_UNITS) < WANTED:
        return None
    low, high = 0, MOST_UNITS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if chance(middle) >= WANTED else (middle, high)
    return high
