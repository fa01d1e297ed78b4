"""Two kinds of units in no order, and drift with date: how often either is told, rightly and wrongly."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from registry.statistics.unlisted.along import Outcome
from registry.statistics.unlisted.behaviour import DATE, SERIAL, Order, behaviour
from registry.statistics.unlisted.drift import drift_with
from registry.statistics.unlisted.rows import Channels
from tests.trial.many import many
from tests.trial.report import Check, Section, percent
from tests.trial.unlisted_communities import Trouble, Truth, community, without_trouble

_MOST = 500
_UNITS, _CLINICS, _YEARS = 40, 5, 1.5
_TROUBLE = Trouble()
_SOUND = without_trouble(_TROUBLE)


@dataclass(frozen=True)
class Told:
    """What was told of one community: `right` is the share of units put with their own kind."""

    split: bool
    kinds: bool
    drift: bool
    right: float


CASES: Mapping[str, tuple[Trouble, Truth]] = MappingProxyType(
    {
        "one build": (_SOUND, Truth()),
        "one build with troubles": (_TROUBLE, Truth()),
        "two kinds, rate apart by 15 %": (_SOUND, Truth(rate=0.85, mixed=0.4)),
        "two kinds, rate apart by 10 %": (_SOUND, Truth(rate=0.9, mixed=0.4)),
        "two kinds, vacuum apart by 30": (_SOUND, Truth(vacuum=-30.0, mixed=0.4)),
        "vacuum drifts by 15 % in all": (_SOUND, Truth(drift=-0.15)),
        "vacuum drifts by 15 %, with troubles": (_TROUBLE, Truth(drift=-0.15)),
        "a step, vacuum down 30": (_SOUND, Truth(before=_UNITS // 2, vacuum=-30.0)),
    }
)


def told(trouble: Trouble, truth: Truth, seed: int) -> Told:
    """What is told of one community of 40 units, brought to 5 clinics over a year and a half."""
    rng = np.random.default_rng(seed)
    drawn = community(rng, rng.permutation(np.arange(_UNITS) % _CLINICS), trouble, truth)
    units = tuple(range(_UNITS))
    channels = Channels(drawn.table)
    found = behaviour(channels, [Order(SERIAL, units), Order(DATE, units)])
    kinds = found.kinds.kinds if found.outcome is Outcome.FOUND and found.kinds else None
    drift = drift_with(channels.along(units), np.linspace(0.0, _YEARS, _UNITS))
    right = 0.0 if kinds is None else float(np.mean(kinds.second == drawn.changed))
    split = found.outcome is Outcome.FOUND and kinds is None
    return Told(
        split, kinds is not None, drift.outcome is Outcome.FOUND, max(right, 1 - right) if kinds else 0.0
    )


def _told(case: tuple[Trouble, Truth], seed: int) -> Told:
    return told(*case, seed)


def section(communities: int, seed: int = 1) -> Section:
    """Kinds in no order, and drift: told rightly and wrongly."""
    number = min(communities, _MOST)
    rows, checks = [], []
    for place, (name, (trouble, truth)) in enumerate(CASES.items()):
        found = many(_told, (trouble, truth), number, seed + 300 + place)
        split, kinds, drift = (
            float(np.mean(each)) for each in zip(*((t.split, t.kinds, t.drift) for t in found), strict=True)
        )
        right = [one.right for one in found if one.kinds]
        own = percent(float(np.mean(right))) if right else "-"
        rows.append((name, str(number), percent(split), percent(kinds), own, percent(drift)))
        if truth == Truth():
            checks += [
                Check(f"{name}, two kinds told", kinds, 0.0, 0.01, number),
                Check(f"{name}, drift told", drift, 0.0, 0.02, number),
            ]
    return Section(
        title="Unlisted revisions in no order, and drift: told as a split, as two kinds, as drift",
        columns=("communities of 40 units", "number", "split", "two kinds", "own kind", "drift"),
        rows=rows,
        checks=checks,
        notes=(
            "Own kind: units put with their own kind, where two kinds are told. Drift is looked at beside",
            "the rest, while its rule keeps quiet where a split is told.",
        ),
    )
