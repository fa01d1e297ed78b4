"""Which gauges read high or low against other clinics' gauges on the same builds at the same settings.

Readings are compared as logarithms, so that one gauge's wrong scale shows alike at every setting of every
model. Units differ too: a gauge is only as well known as the units it read, and a build only as well as the
units others read of it; and any of them may be wild, which bounds what it says. All figures are relative:
0.08 is 8 %.
"""

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.beside import Beside
from registry.statistics.bounded import said_for_lean
from registry.statistics.leans import Leans, leans_of
from registry.statistics.robust import Floats
from registry.statistics.taming import Fitted, fit_pairs, shared

# A unit set up anew on another bench repeats itself within about this: common practice, no published source.
SET_UP = 0.01
_ROUNDS = 8

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Limits:
    """When a gauge is off: raised beyond `off` and `alarm`, clear below `clear` or above `calm`.

    Floors: `units` read, other `clinics` that read the same builds, and `agreeing`, the share of units that
    lean the same way by half of `off`.
    """

    off: float = 0.04
    clear: float = 0.03
    alarm: float = 0.01
    calm: float = 0.05
    units: int = 3
    clinics: int = 2
    agreeing: float = 0.7


LIMITS = Limits()


@dataclass(frozen=True)
class Shift:
    """One gauge, or the gauges of one clinic together, against the others: `shift` with its 95 % interval.

    `who` is the gauge's key, or the clinic's. `p` is the probability of as much by chance for this one alone;
    `tests` is how many are watched. `sampling` is the part of the standard `error` that more units would
    lessen: what the gauge itself scatters by is in either half of its units. `deviations` holds, for each
    unit, how far it read from the same build at other clinics.
    """

    who: int
    shift: float
    low: float
    high: float
    error: float
    sampling: float
    p: float
    tests: int
    settings: int
    runs: int
    builds: int
    clinics: int
    agreeing: float
    deviations: dict[int, float]

    @property
    def units(self) -> int:
        """How many units were read."""
        return len(self.deviations)

    def is_carried(self, limits: Limits = LIMITS) -> bool:
        """Whether there is enough to judge at all."""
        return self.units >= limits.units and self.clinics >= limits.clinics

    def is_material(self, limits: Limits = LIMITS) -> bool:
        """More than matters, in most units alike, on enough to judge by."""
        alike = abs(self.shift) >= limits.off and self.agreeing >= limits.agreeing
        return self.is_carried(limits) and alike

    def is_off(self, limits: Limits = LIMITS) -> bool:
        """Material, and more than chance does among all that are watched (Bonferroni)."""
        return self.is_material(limits) and self.p * self.tests < limits.alarm

    def is_clear(self, limits: Limits = LIMITS) -> bool:
        """Nothing is left to say against it."""
        return abs(self.shift) < limits.clear or self.p * self.tests > limits.calm

    def halves_agree(self, limits: Limits = LIMITS) -> bool:
        """Whether either half of the units says so by itself: apart as far as matters, and beyond chance."""
        apart = list(
            np.sign(self.shift) * np.log1p([self.deviations[unit] for unit in sorted(self.deviations)])
        )
        halves = (apart[::2], apart[1::2])
        least = max(float(np.log1p(limits.clear)), 1.96 * 2**0.5 * self.sampling)
        return all(len(half) >= 2 and float(np.mean(half)) >= least for half in halves)


@dataclass(frozen=True)
class Examined:
    """A community of gauges looked through: `off` are those that lean by themselves, worst first."""

    beside: Beside
    leans: Leans
    scatter: float
    off: tuple[int, ...]
    watched: int

    @property
    def freedom(self) -> int:
        """Degrees of freedom of the spread between units, less one a gauge that is off."""
        return max(self.beside.rows - self.beside.builds - len(self.off) - 1, 1)

    def gauges(self, only: Collection[int] | None = None, *, limits: Limits = LIMITS) -> list[Shift]:
        """Every gauge, or some."""
        found = zip(self.leans.gauges.tolist(), *self.leans.tested(self.scatter, self._is_off()), strict=True)
        return [
            self._shift(gauge, [gauge], (centre, error), limits)
            for gauge, centre, error in found
            if only is None or gauge in only
        ]

    def together(self, who: int, gauges: Collection[int], *, limits: Limits = LIMITS) -> Shift:
        """Several gauges that are taken to lean as one; at least one of them was read."""
        members = np.isin(self.leans.gauges, list(gauges))
        found = self.leans.together(members, self.scatter, self._is_off())
        return self._shift(who, list(gauges), found, limits)

    def chance(self, centre: float, error: float) -> float:
        """The probability of a shift as large by chance."""
        return min(1.0, 2 * float(special.stdtr(self.freedom, -abs(centre) / error)))

    def _is_off(self) -> Flags:
        return np.isin(self.leans.gauges, list(self.off))

    def _shift(self, who: int, gauges: Collection[int], found: tuple[float, float], limits: Limits) -> Shift:
        centre, error = found
        near = self.beside.of(gauges, self.off)
        half = float(special.stdtrit(self.freedom, 0.975)) * min(error, 10.0)
        apart = np.array(list(near.apart.values()))
        p = self.chance(centre, error)
        if p < limits.calm:
            # Units any of which may be wild say no more than that.
            said = said_for_lean(near.left, near.variances, self.scatter)
            p = max(p, self.chance(said**0.5, 1.0))
        return Shift(
            who=who,
            shift=float(np.expm1(centre)),
            low=float(np.expm1(centre - half)),
            high=float(np.expm1(centre + half)),
            error=min(error, 10.0),
            sampling=float(np.sqrt(max(min(error, 10.0) ** 2 - self.scatter**2, 0.0))),
            p=p,
            tests=max(self.watched, self.leans.gauges.size),
            settings=near.settings,
            runs=near.runs,
            builds=near.builds,
            clinics=near.clinics,
            agreeing=float((np.sign(centre) * apart >= limits.off / 2).sum() / max(apart.size, 1)),
            deviations={unit: float(np.expm1(value)) for unit, value in near.apart.items()},
        )


def examine(
    pairs: pd.DataFrame, *, watched: int = 0, limits: Limits = LIMITS, fitted: Fitted | None = None
) -> Examined | None:
    """Look through a community of gauges; `watched` is how many are watched in all, if more.

    `fitted` is `fit_pairs` of what is `shared` of the pairs, where that was worked out before.

    A gauge found off is from then on free of the others, worst first, so that one wrong gauge does not make
    the right ones look wrong. Builds that a single clinic read tell nothing and are left out; None where
    nothing is left.
    """
    told = shared(pairs)
    if not len(told):
        return None
    off, fitted = list[int](), fitted or fit_pairs(told)
    declared = float(np.sqrt((told["systematic"] ** 2).mean()))
    beside = Beside(told, fitted.spreads, float(np.hypot(SET_UP, declared)))
    while True:
        leans = leans_of(told, fitted.values, fitted.spreads, SET_UP)
        scatter = allowed_scatter(leans, np.isin(leans.gauges, off), declared)
        found = Examined(beside, leans, scatter, tuple(off), watched)
        worst = _worst(found, limits)
        if worst is None:
            return found
        off.append(worst)


def _worst(found: Examined, limits: Limits) -> int | None:
    """The gauge most surely off that is not known to be."""
    centres, errors = found.leans.tested(found.scatter, np.isin(found.leans.gauges, list(found.off)))
    scores = np.where(np.isfinite(errors), np.abs(centres) / errors, 0.0)
    for k in np.lexsort((-np.abs(centres), -scores)):
        gauge = int(found.leans.gauges[k])
        if gauge in found.off or abs(np.expm1(centres[k])) < limits.off:
            continue
        if found.chance(centres[k], errors[k]) * found.leans.gauges.size >= limits.alarm:
            return None
        (shift,) = found.gauges([gauge], limits=limits)
        if shift.is_off(limits):
            return gauge
    return None


def allowed_scatter(leans: Leans, is_off: Flags, declared: float) -> float:
    """What sound gauges scatter by: what they declare, or more where they are seen to."""
    scatter = max(declared, 1e-4)
    for _ in range(_ROUNDS):
        centres, errors = leans.tested(scatter, is_off)
        aside = _foremost(np.where(np.isfinite(errors), centres / errors, 0.0), is_off)
        wider = _seen_scatter(*leans.tested(scatter, aside), aside, scatter)
        if wider <= 1.01 * scatter:
            break
        scatter = wider
    return scatter


def _foremost(scores: Floats, is_off: Flags) -> Flags:
    """The gauges that are off with the foremost quarter of the others: any of these may be off too."""
    among = np.flatnonzero(~is_off)
    first = among[np.argsort(-np.abs(scores[among]))[: -(-among.size // 4)]]
    aside = is_off.copy()
    aside[first] = True
    return aside


def _seen_scatter(centres: Floats, errors: Floats, aside: Flags, scatter: float) -> float:
    """Widen the scatter allowed to sound gauges where they are seen to scatter more than is allowed for.

    By the mean square of the scores of the nearest three quarters, of which there must be three. Normal ones
    come to 0.37; only what is beyond 1 counts, as so few gauges know their own scatter poorly.
    """
    near = ~aside & np.isfinite(errors)
    if near.sum() < 3:
        return scatter
    excess = float(np.mean((centres[near] / errors[near]) ** 2)) - 1.0
    return float(np.sqrt(scatter**2 + max(excess, 0.0) * float(np.median(errors[near] ** 2))))
