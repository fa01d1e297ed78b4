"""A change between two sets of units in one channel, fitted so that a few wild units carry nothing off."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from registry.statistics.robust import Floats
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Rows
from registry.statistics.unlisted.within import Effect, Within

_ROUNDS = 4
_WILD_SHARE = 0.2


@dataclass(frozen=True)
class Change:
    """A change (a logarithm, or mmHg of vacuum), its 95 % interval, and the chance of it at this place."""

    size: float
    low: float
    high: float
    p: float


@dataclass(frozen=True)
class Fitted:
    """A change with the reined rows it was fitted to."""

    change: Change
    rows: Rows


def of_effect(t: float, freedom: float) -> float:
    """The chance of a change as large as `t` standard errors or larger, either way, at a given place."""
    return float(min(2.0 * special.stdtr(freedom, -abs(t)), 1.0))


def scale_of(effect: Effect, limits: Limits) -> tuple[float, float]:
    """How much units vary beyond the usual (a factor of variances) and the degrees of freedom of that."""
    freedom = limits.weight + max(effect.freedom, 0)
    return (limits.weight + effect.rest) / freedom, freedom


def change_between(rows: Rows, over: Floats, limits: Limits = LIMITS) -> Fitted | None:
    """Fit the change over `over`, a figure a unit: 0 and 1 for two sides. None where benches hide it.

    Rows are reined in about the fit, over and over, and wild ones left out.
    """
    if rows.unit.size < 2:
        return None
    used = rows.reined(limits)[0]
    for _ in range(_ROUNDS):
        within = Within(used)
        effect = within.effect(over)
        if effect.information <= 0:
            return None
        used = _used(rows, used, within.leans(over, effect.size), effect.size * over, limits)
    effect = Within(used).effect(over)
    if effect.information <= 0:
        return None
    return Fitted(_change(effect, limits), used)


def _used(rows: Rows, before: Rows, lean: Floats, change: Floats, limits: Limits) -> Rows:
    """Rows reined in about the fit, without the wild ones; `lean` is of the benches used `before`."""
    expected = lean[rows.bench] + change[rows.unit]
    lost = ~np.isin(rows.bench, before.bench)
    reined, apart = rows.reined(limits, about=np.where(lost, rows.value, expected))
    far = np.where(lost, np.inf, np.abs(apart))
    most = max(int(rows.value.size * _WILD_SHARE), 1)
    wild = np.argsort(-far, kind="stable")[:most]
    keep = np.ones(far.size, bool)
    keep[wild[far[wild] > limits.wild]] = False
    return reined.kept(keep)


def _change(effect: Effect, limits: Limits) -> Change:
    scale, freedom = scale_of(effect, limits)
    error = (scale / effect.information) ** 0.5
    reach = float(special.stdtrit(freedom, 0.975)) * error
    return Change(
        size=effect.size,
        low=effect.size - reach,
        high=effect.size + reach,
        p=of_effect(effect.size / error, freedom),
    )


def carried_by(rows: Rows, over: Floats, whole: Change, limits: Limits = LIMITS) -> tuple[int, ...]:
    """The clinics without any one of which the change would not stand: none where many see it.

    `rows` are reined rows. The other clinics have to show as much of it as `limits` say, by themselves.
    """
    found = []
    for clinic in np.unique(rows.clinic):
        effect = Within(rows.kept(rows.clinic != clinic)).effect(over) if _others(rows, clinic) else None
        if effect is None or not _stands(effect, whole, limits):
            found.append(int(clinic))
    return tuple(found)


def _others(rows: Rows, clinic: int) -> bool:
    return bool((rows.clinic != clinic).any())


def _stands(effect: Effect, whole: Change, limits: Limits) -> bool:
    if effect.information <= 0 or effect.size * whole.size <= 0:
        return False
    scale, freedom = scale_of(effect, limits)
    p = of_effect(effect.size * (effect.information / scale) ** 0.5, freedom)
    return p <= limits.without_one and abs(effect.size) >= limits.kept * abs(whole.size)
