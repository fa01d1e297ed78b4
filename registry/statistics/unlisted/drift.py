"""Does a build drift with date: change little by little, in several clinics alike?"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.along import Outcome
from registry.statistics.unlisted.change import Change, Fitted, carried_by, change_between
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Channel
from registry.statistics.unlisted.within import Within


@dataclass(frozen=True)
class Drift:
    """A slope a year (a logarithm, or mmHg of vacuum) in one channel, over so many `years` of units.

    `p` is the chance of it in any channel; `changes` the slopes of all channels; units and clinics that tell.
    """

    channel: Channel
    slope: Change
    years: float
    changes: dict[str, Change]
    p: float
    units: int
    clinics: int


@dataclass(frozen=True)
class DriftLook:
    """What a look for drift came to, `p` as of a look along an order."""

    outcome: Outcome
    p: float | None
    drift: Drift | None = None
    carriers: tuple[int, ...] = ()


def drift_with(channels: Sequence[Channel], years: Floats, *, limits: Limits = LIMITS) -> DriftLook:
    """Look for a drift over `years`, each unit's date in years; units are in order of date.

    A change that one step explains as well is none: it is for `split_along` to tell.
    """
    if years.size < limits.drift_units or np.ptp(years) < limits.drift_years:
        return DriftLook(Outcome.FEW, None)
    over = years - years.mean()
    fits = [(c, f) for c in channels if (f := change_between(c.rows, over, limits)) is not None]
    if not fits:
        return DriftLook(Outcome.HIDDEN, None)
    channel, fitted = min(fits, key=lambda fit: fit[1].change.p)
    p = min(fitted.change.p * len(fits), 1.0)
    span = float(np.ptp(np.quantile(years, (0.05, 0.95))))
    enough = abs(fitted.change.size) * span >= limits.least_of(channel.metric)
    if p > limits.drift_chance or not enough:
        return DriftLook(Outcome.NOTHING, max(p, limits.drift_chance))
    carriers = carried_by(fitted.rows, over, fitted.change, limits)
    if carriers:
        return DriftLook(Outcome.ONE_CLINIC, 1.0, carriers=carriers)
    if not _is_gradual(fitted, over):
        return DriftLook(Outcome.NOTHING, 1.0)
    changes = {c.name: f.change for c, f in fits}
    units, clinics = (np.unique(of).size for of in (fitted.rows.unit, fitted.rows.clinic))
    return DriftLook(
        Outcome.FOUND, p, Drift(channel, fitted.change, span, changes, p, int(units), int(clinics))
    )


def _is_gradual(fitted: Fitted, over: Floats) -> bool:
    """Whether the slope explains at least as much as the best single step."""
    return gain_of_slope(fitted, over) >= gain_of_step(fitted)


def gain_of_slope(fitted: Fitted, over: Floats) -> float:
    """What a slope over `over` takes off the weighted squares."""
    effect = Within(fitted.rows).effect(over)
    return effect.size**2 * effect.information


def gain_of_step(fitted: Fitted) -> float:
    """What the best single step takes off the weighted squares."""
    score, information, _ = Within(fitted.rows).steps()
    told = information > 0
    return float((score[told] ** 2 / information[told]).max()) if told.any() else 0.0
