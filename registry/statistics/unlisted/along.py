"""Look along an order of units for the place where a build changed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.change import Change, change_between
from registry.statistics.unlisted.leanings import tracks_of
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.odds import Odds, kinds_gain, log_sum, slopes_gain
from registry.statistics.unlisted.place import Place, place_of
from registry.statistics.unlisted.rows import Channel, Rows

# No change is only said to be none where benches tell at this share of places about the middle or more.
_TOLD = 0.5
_DEEPEST = 3


class Outcome(StrEnum):
    """What a look came to.

    `ONE_CLINIC`: single clinics carry the change, so it is a gauge's or a clinic's own. `GRADUAL`: it changes
    all along rather than at one place. `HIDDEN`: no bench measured enough units of two sides, so build and
    bench cannot be told apart. `FEW`: too few units to look at all.
    """

    FOUND = "found"
    NOTHING = "nothing"
    ONE_CLINIC = "one clinic"
    GRADUAL = "gradual"
    HIDDEN = "hidden"
    FEW = "few"


@dataclass(frozen=True)
class Split:
    """A build changed after its first `before` units. `changes` are those of every channel, by its name.

    `p` is the chance of ever seeing as much, at any place and in any channel, while units come one after the
    other. `units` and `clinics` count those that tell: units on either side at benches that measured both.
    """

    before: int
    place: Place
    channel: Channel
    changes: dict[str, Change]
    p: float
    units: tuple[int, int]
    clinics: tuple[int, ...]


@dataclass(frozen=True)
class Look:
    """What a look along an order found.

    `p` is fit for a correction over many looks; None where nothing could be told. `carriers` are the clinics
    that carry a change by themselves (`Outcome.ONE_CLINIC`); `channel` is the one that stood out most.
    """

    outcome: Outcome
    p: float | None
    splits: tuple[Split, ...] = ()
    carriers: tuple[int, ...] = ()
    channel: str = ""


@dataclass(frozen=True)
class _Seen:
    """One channel: where a split can be told, and how much likelier readings are with one."""

    channel: Channel
    open: np.ndarray
    odds: Odds
    share: float

    @property
    def before(self) -> int:
        """The likeliest place."""
        return int(np.argmax(np.where(self.open, self.odds.places, -np.inf))) + 1

    @property
    def gain(self) -> float:
        """The log likelihood ratio of a step at some place, each as likely beforehand."""
        return self.odds.gain(self.open)

    @property
    def shared(self) -> float:
        """The same with the channel's share of the chance."""
        return self.gain + float(np.log(self.share))


def split_along(
    channels: Sequence[Channel], *, cuts: np.ndarray | None = None, limits: Limits = LIMITS
) -> Look:
    """Look for the strongest change along the order of units, then for further ones on either side of it.

    `cuts[k]` says whether a split may lie after the unit at place k (units of one day or of two series that
    do not compare have none between them); anywhere unless given.
    """
    return _look(channels, cuts, limits, _DEEPEST)


def _look(channels: Sequence[Channel], cuts: np.ndarray | None, limits: Limits, deep: int) -> Look:
    units = max((channel.rows.units for channel in channels), default=0)
    if units < 2 * limits.units:
        return Look(Outcome.FEW, None)
    opens = [_open(channel.rows, cuts, limits) for channel in channels]
    some = [(channel, one) for channel, one in zip(channels, opens, strict=True) if one.any()]
    if not some:
        return Look(Outcome.HIDDEN, None)
    seen = _seen(some, limits)
    look = _best(seen, channels, cuts, limits)
    if look.outcome is Outcome.FOUND and deep > 1:
        further = _further(look.splits[0], channels, cuts, limits, deep - 1)
        return replace(look, splits=(*look.splits, *further))
    told = max(float(one[one.size // 4 : -(one.size // 4) or None].mean()) for _, one in some)
    if look.outcome is Outcome.NOTHING and told < _TOLD:
        return Look(Outcome.HIDDEN, None)
    return look


def _seen(some: Sequence[tuple[Channel, np.ndarray]], limits: Limits) -> list[_Seen]:
    often = [limits.jumps_of(channel.metric) for channel, _ in some]
    tracks = tracks_of([channel.rows for channel, _ in some], often)
    says = np.array([limits.says_of(channel.metric) for channel, _ in some])
    seen = [
        _Seen(channel, open_, Odds(tracks, place, channel.rows.units), float(says[place] / says.sum()))
        for place, (channel, open_) in enumerate(some)
    ]
    return sorted(seen, key=lambda one: -one.shared)


def _best(
    seen: Sequence[_Seen], channels: Sequence[Channel], cuts: np.ndarray | None, limits: Limits
) -> Look:
    """The split of the channel that speaks loudest and stands closer looks, or what it is instead."""
    doubt: Look | None = None
    for place, one in enumerate(seen):
        p = _chance(seen[place:], limits)
        if p > limits.chance:
            break
        look = _confirmed(one, p, channels, cuts, limits)
        if look.outcome is Outcome.FOUND:
            return look
        doubt = doubt or (look if look.outcome is not Outcome.NOTHING else None)
    name = seen[0].channel.name
    doubt = doubt or _of_one_clinic(seen, limits)
    return doubt or Look(Outcome.NOTHING, max(_chance(seen, limits), limits.chance), channel=name)


def _chance(seen: Sequence[_Seen], limits: Limits) -> float:
    """The chance of ever seeing as much: likelihood ratios, and means of them, bound it (Ville's inequality).

    Channels that are left out count for nothing.
    """
    together = float(log_sum(np.array([one.shared for one in seen])))
    return float(np.exp(min(np.log(limits.seldom) - together, 0.0)))


def _of_one_clinic(seen: Sequence[_Seen], limits: Limits) -> Look | None:
    """The clinic whose own benches jumped, if any did."""
    most = max(seen, key=lambda one: float(one.odds.jumped.max()))
    carriers = most.odds.clinics[most.odds.jumped >= np.log(limits.jumped)]
    if not carriers.size:
        return None
    return Look(Outcome.ONE_CLINIC, 1.0, carriers=tuple(carriers.tolist()), channel=most.channel.name)


def _open(rows: Rows, cuts: np.ndarray | None, limits: Limits) -> np.ndarray:
    """Where a split can be told: units on either side at benches that measured both, of clinics enough."""
    there = np.zeros((rows.units, rows.benches), bool)
    there[rows.unit, rows.bench] = True
    seen, total = np.cumsum(there, axis=0)[:-1], there.sum(axis=0)
    both = (seen > 0) & (seen < total)
    before, after = (seen * both).sum(axis=1), ((total - seen) * both).sum(axis=1)
    clinic_of = np.zeros(rows.benches, np.intp)
    clinic_of[rows.bench] = rows.clinic
    of_clinic = np.eye(int(clinic_of.max(initial=0)) + 1, dtype=int)[clinic_of]
    clinics = (both @ of_clinic > 0).sum(axis=1)
    open_: np.ndarray = (np.minimum(before, after) >= limits.units) & (clinics >= limits.clinics)
    # A change may lie among units that do not compare, though it is never placed there.
    return open_ if cuts is None or (open_ & cuts[: open_.size]).any() else np.zeros_like(open_)


def _confirmed(
    seen: _Seen, p: float, channels: Sequence[Channel], cuts: np.ndarray | None, limits: Limits
) -> Look:
    """The split, if it stands closer looks; else what it is instead."""
    name, rows = seen.channel.name, seen.channel.rows
    over = (np.arange(rows.units) >= seen.before).astype(float)
    fitted = change_between(rows, over, limits)
    if fitted is None or abs(fitted.change.size) < limits.least_of(seen.channel.metric):
        return Look(Outcome.NOTHING, 1.0, channel=name)
    # Few units hardly tell what a clinic's or a slope would be from a step; many do.
    few = limits.few(rows.units)
    carriers = seen.odds.carriers(seen.open, limits.without_a_clinic**few)
    if carriers:
        return Look(Outcome.ONE_CLINIC, 1.0, carriers=carriers, channel=name)
    jumps = limits.jumps_of(seen.channel.metric)
    if slopes_gain(rows, jumps) > seen.gain + few * limits.gradual:
        return Look(Outcome.GRADUAL, 1.0, channel=name)
    if kinds_gain(rows, jumps, fitted.change.size) > seen.gain + few * limits.mixed:
        return Look(Outcome.NOTHING, 1.0, channel=name)
    split = _split(seen.channel, p, place_of(fitted.rows, seen.before, cuts, limits), channels, limits)
    return Look(Outcome.FOUND, p, (split,), channel=name)


def _split(channel: Channel, p: float, place: Place, channels: Sequence[Channel], limits: Limits) -> Split:
    after = (np.arange(channel.rows.units) >= place.before).astype(float)
    units, clinics = told_by(channel.rows, after)
    changes = {
        one.name: found.change
        for one in channels
        if (found := change_between(one.rows, after, limits)) is not None
    }
    return Split(place.before, place, channel, changes, p, units, clinics)


def told_by(rows: Rows, after: Floats) -> tuple[tuple[int, int], tuple[int, ...]]:
    """How many units of either side were read at benches that read both, and which clinics' those are."""
    later = after[rows.unit] > 0.5
    counts = [np.bincount(rows.bench, side) for side in (~later, later)]
    both = (np.minimum(*counts) > 0)[rows.bench]
    units = [np.unique(rows.unit[both & side]).size for side in (~later, later)]
    return (units[0], units[1]), tuple(int(clinic) for clinic in np.unique(rows.clinic[both]))


def _further(
    split: Split, channels: Sequence[Channel], cuts: np.ndarray | None, limits: Limits, deep: int
) -> tuple[Split, ...]:
    """Changes within either part, with places counted from the first unit of all."""
    found: list[Split] = []
    units = max(channel.rows.units for channel in channels)
    for first, last in ((0, split.before), (split.before, units)):
        part = [
            Channel(channel.metric, channel.mode, channel.rows.of_units(first, last))
            for channel in channels
            if ((channel.rows.unit >= first) & (channel.rows.unit < last)).any()
        ]
        look = _look(part, None if cuts is None else cuts[first : last - 1], limits, deep)
        found += [_moved(further, first) for further in look.splits]
    return tuple(found)


def _moved(split: Split, by: int) -> Split:
    return replace(split, before=split.before + by, place=split.place.moved(by))
