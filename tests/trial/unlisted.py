"""How often a change of build is told, where and how soon; and how often one is told that is none."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import pandas as pd

from registry.statistics.unlisted.along import Outcome
from registry.statistics.unlisted.behaviour import DATE, SERIAL, Order, behaviour
from registry.statistics.unlisted.rows import Channels
from tests.trial.many import many
from tests.trial.report import Check, Section, percent
from tests.trial.unlisted_communities import (
    Community,
    Trouble,
    Truth,
    community,
    crowd,
    two_sides,
    without_trouble,
)
from tests.trial.unlisted_peers import pelt, three_sigma

METHODS = ("ours", "3 sigma", "PELT")
_TROUBLE = Trouble()
_SOUND = without_trouble(_TROUBLE)
# More of a kind than these take many minutes; a replay looks after every unit and costs as many looks.
_MOST, _MOST_REPLAYED = 500, 500
_NEAR = 2
_LONGEST = 25


@dataclass(frozen=True)
class Kind:
    """Communities of one kind: what is amiss, what the build changes by, and who measured.

    With `sides` there are 6 units on either side of the change, from so many clinics; else a crowd.
    """

    trouble: Trouble
    rate: float = 1.0
    vacuum: float = 0.0
    sides: int = 0
    promised: bool = True

    def draw(self, rng: np.random.Generator) -> Community:
        """One community; a crowd changes between a third and two thirds of its units."""
        clinic = two_sides(rng, self.sides) if self.sides else crowd(rng)
        units = clinic.size
        before = units // 2 if self.sides else int(rng.integers(units // 3, 2 * units // 3, endpoint=True))
        changes = self.rate != 1.0 or self.vacuum != 0.0
        truth = Truth(before if changes else None, self.rate, self.vacuum)
        return community(rng, clinic, self.trouble, truth)


NO_CHANGE: Mapping[str, Kind] = MappingProxyType(
    {
        "sound": Kind(_SOUND),
        "recalibrated, wild, sticky": Kind(_TROUBLE),
        "the same, all gauges recalibrated": Kind(replace(_TROUBLE, recalibrated=1.0)),
        "the same, units scatter twice": Kind(replace(_TROUBLE, scatter=2.0), promised=False),
        "the same, heavy tails": Kind(replace(_TROUBLE, heavy=True), promised=False),
        "a gauge goes 8 % off": Kind(replace(_SOUND, gauge_off=0.08)),
        "a clinic goes 8 % off": Kind(replace(_SOUND, clinic_off=0.08)),
        "a gauge 8 % off, and the rest": Kind(replace(_TROUBLE, gauge_off=0.08), promised=False),
        "a clinic 8 % off, and the rest": Kind(replace(_TROUBLE, clinic_off=0.08), promised=False),
    }
)
CHANGE: Mapping[str, Kind] = MappingProxyType(
    {
        "rate down 10 %, 6 a side, 3 clinics": Kind(_SOUND, rate=0.9, sides=3),
        "vacuum down 15, 6 a side, 3 clinics": Kind(_SOUND, vacuum=-15.0, sides=3),
        "the same, recalibrated, wild, sticky": Kind(_TROUBLE, vacuum=-15.0, sides=3, promised=False),
        "rate down 10 %, a crowd with troubles": Kind(_TROUBLE, rate=0.9, promised=False),
        "vacuum down 15, a crowd with troubles": Kind(_TROUBLE, vacuum=-15.0, promised=False),
    }
)
REPLAYED: Mapping[str, Kind] = MappingProxyType(
    {
        "no change, with troubles": Kind(_TROUBLE),
        "rate down 10 %": Kind(_SOUND, rate=0.9),
        "vacuum down 15": Kind(_SOUND, vacuum=-15.0),
    }
)


def ours(community: Community, units: int) -> int | None:
    """Where a change of build is told among the first units, as the rule looks; -1 where in no order."""
    return look(community, units)[0]


def look(community: Community, units: int) -> tuple[int | None, bool]:
    """The same, and whether it is sure enough to be told without being seen again."""
    order = tuple(range(units))
    found = behaviour(Channels(community.first(units)), [Order(SERIAL, order), Order(DATE, order)])
    if found.outcome is not Outcome.FOUND:
        return None, False
    place = found.look.splits[0].before if found.look is not None and found.look.splits else -1
    return place, found.is_sure()


def told(kind: Kind, seed: int) -> tuple[int, int | None, dict[str, int | None]]:
    """Units, the true place, and the place each way tells (None for none) in one community."""
    drawn = kind.draw(np.random.default_rng(seed))
    places = {
        "ours": ours(drawn, drawn.units),
        "3 sigma": three_sigma(drawn.table),
        "PELT": pelt(drawn.table),
    }
    return drawn.units, drawn.truth.before, places


def replayed(kind: Kind, seed: int) -> tuple[int, dict[str, int | None]]:
    """Units looked at one after the other: how many there were, and after how many each way told.

    Ours tells when it is sure, or found at two looks on end; the others when they find. None where it never
    was. Counted from the change on, where there is one.
    """
    drawn = kind.draw(np.random.default_rng(seed))
    start = drawn.truth.before or 0
    last = min(drawn.units, start + _LONGEST) if drawn.truth.before else drawn.units
    after: dict[str, int | None] = {
        "ours": _ours_after(drawn, start, last),
        "3 sigma": _after(three_sigma, drawn, start, last),
        "PELT": _after(pelt, drawn, start, last),
    }
    return drawn.units, after


def _ours_after(drawn: Community, start: int, last: int) -> int | None:
    suspected = False
    for units in range(start + 1, last + 1):
        place, sure = look(drawn, units)
        if place is not None and (sure or suspected):
            return units - start
        suspected = place is not None
    return None


def _after(
    found: Callable[[pd.DataFrame], int | None], drawn: Community, start: int, last: int
) -> int | None:
    looks = range(start + 1, last + 1)
    return next((units - start for units in looks if found(drawn.first(units)) is not None), None)


def section_unchanged(communities: int, seed: int = 1) -> Section:
    """No build changes: clinics and gauges do, and units are wild."""
    rows, checks = [], []
    for name, kind in NO_CHANGE.items():
        found = many(told, kind, min(communities, _MOST), seed)
        units = sum(one[0] for one in found)
        alerts = {way: sum(one[2][way] is not None for one in found) for way in METHODS}
        shares = [f"{percent(alerts[way] / len(found))}, {1000 * alerts[way] / units:.2f}" for way in METHODS]
        rows.append((name, str(len(found)), str(units), *shares))
        if kind.promised:
            checks.append(
                Check(f"{name}, told as a build's", alerts["ours"] / len(found), 0.0, 0.01, len(found))
            )
            checks.append(Check(f"{name}, alerts a unit scanned", alerts["ours"] / units, 0.0, 0.001, units))
    return Section(
        title="Unlisted revisions, no build changed: communities with an alert, and alerts in 1,000 units",
        columns=("communities", "number", "units", *METHODS),
        rows=rows,
        checks=checks,
        notes=(
            "3 sigma: a unit beyond 3 standard deviations of all before it, from the seventh on.",
            "PELT: ruptures, least squares, penalty (metrics + 1) log n in units of the noise.",
        ),
    )


def section_changed(communities: int, seed: int = 1) -> Section:
    """A build changes: how often it is told, and within two units of the place."""
    rows, checks = [], []
    for name, kind in CHANGE.items():
        found = many(told, kind, min(communities, _MOST), seed + 100)
        shares = {way: _found_and_placed(found, way) for way in METHODS}
        cells = [f"{percent(share)}, {percent(near)}" for share, near in shares.values()]
        rows.append((name, str(len(found)), *cells))
        if kind.promised:
            checks.append(Check(f"{name}, found", shares["ours"][0], 0.95, 1.0, len(found)))
            checks.append(
                Check(f"{name}, placed within {_NEAR} units", shares["ours"][1], 0.8, 1.0, len(found))
            )
    return Section(
        title="Unlisted revisions where a build changed: found, and of all placed within two units",
        columns=("communities", "number", *METHODS),
        rows=rows,
        checks=checks,
    )


def _found_and_placed(
    found: Sequence[tuple[int, int | None, dict[str, int | None]]], way: str
) -> tuple[float, float]:
    places = [(truth, told_at[way]) for _, truth, told_at in found]
    near = [at is not None and truth is not None and abs(at - truth) <= _NEAR for truth, at in places]
    return float(np.mean([at is not None for _, at in places])), float(np.mean(near))


def section_replayed(communities: int, seed: int = 1) -> Section:
    """Units come one after the other, and each time all is looked at again."""
    rows, checks = [], []
    for name, kind in REPLAYED.items():
        found = many(replayed, kind, min(communities, _MOST_REPLAYED), seed + 200)
        units = sum(one[0] for one in found)
        delays = {
            way: np.array([np.inf if one[1][way] is None else one[1][way] for one in found], float)
            for way in METHODS
        }
        shares = {way: float(np.mean(np.isfinite(each))) for way, each in delays.items()}
        cells = [f"{percent(shares[way])}, {float(np.median(delays[way])):g}" for way in METHODS]
        rows.append((name, str(len(found)), *cells))
        if kind.rate == 1.0 and kind.vacuum == 0.0:
            told_a_unit = shares["ours"] * len(found) / units
            checks.append(Check(f"{name}, told at any of all looks", shares["ours"], 0.0, 0.01, len(found)))
            checks.append(Check(f"{name}, the same a unit", told_a_unit, 0.0, 0.001, units))
        else:
            late = float(np.mean(delays["ours"] > 5))
            checks.append(Check(f"{name}, later than after 5 units", late, 0.0, 0.5, len(found)))
    return Section(
        title="Unlisted revisions, looked at again after every unit: told at all, and median delay in units",
        columns=("communities", "number", *METHODS),
        rows=rows,
        checks=checks,
        notes=(
            f"After a change looks end with {_LONGEST} units; inf: not told by then in half of them.",
            "3 sigma and PELT that had told before the change already tell at the first look after it.",
        ),
    )
