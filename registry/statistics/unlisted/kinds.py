"""Are there two kinds of units in one build, in no order of serials or dates?"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from registry.statistics.robust import Floats
from registry.statistics.unlisted.along import Outcome, told_by
from registry.statistics.unlisted.change import Change, carried_by, change_between
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Channel, Rows
from registry.statistics.unlisted.within import Within

_STARTS = (0.3, 0.5, 0.7)
_ROUNDS = 20
_FIRST_DRAWS, _DRAWS = 30, 200
# Beyond this after the first draws, more of them would not make it rare.
_SURELY_CHANCE = 0.02


@dataclass(frozen=True)
class Kinds:
    """Two kinds in one build: `second` says of each unit whether it is of the rarer kind.

    `changes` lead from the commoner kind to the rarer. `p` is the chance of kinds as far apart, in any
    channel, among units of one build that scatter normally; `apart` their distance in spreads of one kind.
    """

    channel: Channel
    second: np.ndarray
    changes: dict[str, Change]
    apart: float
    p: float
    units: tuple[int, int]
    clinics: tuple[int, ...]


@dataclass(frozen=True)
class KindsLook:
    """What a look for two kinds came to, `p` as of a look along an order."""

    outcome: Outcome
    p: float | None
    kinds: Kinds | None = None


def two_kinds(channels: Sequence[Channel], *, seed: int = 1, limits: Limits = LIMITS) -> KindsLook:
    """Look for two kinds of units: same seed, same answer.

    Units are put into two kinds so that kinds and benches together leave least; what normal units of one
    kind give by the same procedure on the same benches is simulated, and its tail taken as log-normal.
    """
    told = [channel for channel in channels if _enough(channel.rows, limits)]
    if not told:
        return KindsLook(Outcome.FEW, None)
    found: list[Kinds] = []
    for channel in told:
        within = Within(channel.rows.reined(limits)[0])
        second = _best(within)
        if second is None or _apart(within, second) < limits.kinds_apart:
            continue
        kinds = _confirmed(channel, second, channels, limits)
        # Chances are simulated, which takes long: only of what stands.
        if kinds is not None:
            found.append(replace(kinds, p=min(_chance(within, second, seed) * len(told), 1.0)))
    best = min(found, key=lambda kinds: kinds.p, default=None)
    if best is None or best.p > limits.kind_chance:
        return KindsLook(Outcome.NOTHING, 1.0)
    return KindsLook(Outcome.FOUND, best.p, best)


def _enough(rows: Rows, limits: Limits) -> bool:
    shared = np.bincount(rows.bench)[rows.bench] > 1
    many = np.unique(rows.unit[shared]).size >= 2 * limits.kind_units
    return many and np.unique(rows.clinic[shared]).size >= limits.kind_clinics


def _best(within: Within) -> np.ndarray | None:
    """Which units are of the second kind, where two kinds leave least; None where none are told apart."""
    rows = within.rows
    apart = rows.value - rows.middle()
    best, least = None, np.inf
    for share in _STARTS:
        second = _by_unit(rows, apart) > np.quantile(apart, share)
        effect = within.effect(second.astype(float))
        for _ in range(_ROUNDS):
            if effect.information <= 0:
                break
            lean = within.leans(second.astype(float), effect.size)
            beyond = (rows.value - lean[rows.bench]) * np.sign(effect.size)
            again = _by_unit(rows, beyond) > abs(effect.size) / 2
            if (again == second).all():
                break
            second, effect = again, within.effect(again.astype(float))
        if effect.information > 0 and effect.rest < least:
            best, least = second, effect.rest
    return best


def _by_unit(rows: Rows, value: Floats) -> Floats:
    """Each unit's mean; units without a row lie lowest."""
    count = np.bincount(rows.unit, minlength=rows.units)
    total = np.bincount(rows.unit, value, minlength=rows.units)
    mean: Floats = np.where(count > 0, total / np.maximum(count, 1), -np.inf)
    return mean


def _apart(within: Within, second: np.ndarray) -> float:
    """How far kinds lie apart, in spreads of the units of one kind as they are seen."""
    effect = within.effect(second.astype(float))
    own = (effect.rest / max(effect.freedom, 1)) ** 0.5 * within.rows.spread
    return abs(effect.size) / own if own > 0 else np.inf


def _chance(within: Within, second: np.ndarray, seed: int) -> float:
    """By few draws where those tell that it is chance, else by many."""
    rng, seen = np.random.default_rng(seed), float(np.log(_apart(within, second)))
    drawn: list[float] = []
    p = 1.0
    for draws in (_FIRST_DRAWS, _DRAWS - _FIRST_DRAWS):
        drawn += [np.log(apart) for apart in _drawn(within, rng, draws)]
        p = float(stats.norm.sf((seen - np.mean(drawn)) / np.std(drawn, ddof=1)))
        if p > _SURELY_CHANCE:
            break
    return p


def _drawn(within: Within, rng: np.random.Generator, draws: int) -> Iterator[float]:
    """How far apart two kinds seem among normal units of one kind on the same benches."""
    rows = within.rows
    for _ in range(draws):
        value = rng.normal(0, rows.spread, rows.units)[rows.unit] + rng.normal(0, rows.noise**0.5)
        normal = within.reading(value)
        kinds = _best(normal)
        if kinds is not None:
            yield _apart(normal, kinds)


def _confirmed(
    channel: Channel, second: np.ndarray, channels: Sequence[Channel], limits: Limits
) -> Kinds | None:
    rows = channel.rows
    present = np.isin(np.arange(rows.units), rows.unit)
    if (second & present).sum() * 2 > present.sum():
        second = ~second & present
    over = second.astype(float)
    fitted = change_between(rows, over, limits)
    units, clinics = told_by(rows, over)
    fewest = max(limits.kind_units, limits.kind_share * present.sum())
    if min(units) < fewest or len(clinics) < limits.kind_clinics or fitted is None:
        return None
    if abs(fitted.change.size) < limits.least_of(channel.metric):
        return None
    if carried_by(fitted.rows, over, fitted.change, limits):
        return None
    changes = {
        other.name: found.change
        for other in channels
        if (found := change_between(other.rows, over, limits)) is not None
    }
    return Kinds(channel, second, changes, _apart(Within(fitted.rows), second), 1.0, units, clinics)
