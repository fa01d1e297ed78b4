"""Look along an order of units for the place where a build changed."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from registry.statistics.robust import Floats
from registry.statistics.unlisted.chance import chain_of, of_effect, of_largest
from registry.statistics.unlisted.change import Change, carried_by, change_between, rests_on_single_units
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.place import Place, place_of
from registry.statistics.unlisted.rows import Channel, Rows
from registry.statistics.unlisted.single import hangs_on_a_unit, is_one_clinics
from registry.statistics.unlisted.within import Within, correlations

_TRIED = 3
_REFITTED = 3
# No change is only said to be none where benches tell at this share of places about the middle or more.
_TOLD = 0.5
# A step whose chance, with wild units reined in only, is larger does not become one without them.
_WORTH_A_FIT = 0.05
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

    `p` is the chance of as large a step anywhere in any channel. `units` and `clinics` count those that tell:
    units on either side at benches that measured both.
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
class _Step:
    channel: Channel
    before: int
    p: float
    told: float


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
    tried = [_strongest(channel, cuts, limits) for channel in channels]
    steps = sorted((step for step in tried if step is not None), key=lambda step: step.p)
    if not steps:
        return Look(Outcome.HIDDEN, None)
    alike = chain_of(correlations([step.channel.rows for step in steps], limits))
    steps = [replace(step, p=of_largest(step.p, alike)) for step in steps]
    seen = max(step.told for step in steps)
    doubt: Look | None = None
    for step in steps[:_TRIED]:
        if step.p > limits.chance:
            break
        look = _confirmed(step, channels, cuts, limits)
        if look.outcome is Outcome.FOUND:
            further = _further(look.splits[0], channels, cuts, limits, deep - 1) if deep > 1 else ()
            return replace(look, splits=(*look.splits, *further))
        doubt = doubt or (look if look.outcome is not Outcome.NOTHING else None)
    if doubt is None and seen < _TOLD:
        return Look(Outcome.HIDDEN, None)
    return doubt or Look(Outcome.NOTHING, max(steps[0].p, limits.chance), channel=steps[0].channel.name)


def _strongest(channel: Channel, cuts: np.ndarray | None, limits: Limits) -> _Step | None:
    """The strongest step of one channel among the places that meet the floors; None where there is none."""
    if channel.rows.unit.size < 2 * limits.units:
        return None
    rows = channel.rows.reined(limits)[0]
    within = Within(rows)
    score, information, squares = within.steps()
    open_ = _open(within, information, limits)
    if cuts is not None:
        open_ &= cuts[: open_.size]
    places = np.flatnonzero(open_)
    if not places.size:
        return None
    told = float(open_[open_.size // 4 : -(open_.size // 4) or None].mean())
    gain = score[places] ** 2 / information[places]
    freedom = limits.weight + max(within.freedom - 1, 0)
    t = (gain / ((limits.weight + np.maximum(squares - gain, 0.0)) / freedom)) ** 0.5
    if of_effect(float(t.max()), freedom) > _WORTH_A_FIT:
        return _Step(channel, int(places[np.argmax(t)]) + 1, 1.0, told)
    tried = [_refitted(channel.rows, int(places[one]) + 1, limits) for one in np.argsort(-t)[:_REFITTED]]
    alone, before = min(tried)
    return _Step(channel, before, of_largest(alone, within.neighbours(places)), told)


def _refitted(rows: Rows, before: int, limits: Limits) -> tuple[float, int]:
    """The chance of a step at one place, wild units left out; reining in alone leaves their scatter."""
    fitted = change_between(rows, (np.arange(rows.units) >= before).astype(float), limits)
    return (1.0 if fitted is None else fitted.change.p), before


def _open(within: Within, information: Floats, limits: Limits) -> np.ndarray:
    """Where a split can be told: units on either side at benches that measured both, of clinics enough."""
    seen = np.cumsum(within.seen, axis=0)[:-1]
    total = within.seen.sum(axis=0)
    both = (seen > 0) & (seen < total)
    before, after = (seen * both).sum(axis=1), ((total - seen) * both).sum(axis=1)
    clinic_of = np.zeros(total.size, np.intp)
    clinic_of[within.rows.bench] = within.rows.clinic
    of_clinic = np.eye(int(clinic_of.max()) + 1, dtype=int)[clinic_of]
    clinics = (both @ of_clinic > 0).sum(axis=1)
    found: np.ndarray = (
        (np.minimum(before, after) >= limits.units)
        & (clinics >= limits.clinics)
        & (information * within.rows.spread**2 >= limits.information)
    )
    return found


def _confirmed(step: _Step, channels: Sequence[Channel], cuts: np.ndarray | None, limits: Limits) -> Look:
    """The split, if it stands closer looks; else what it is instead."""
    name, rows = step.channel.name, step.channel.rows
    over = (np.arange(rows.units) >= step.before).astype(float)
    fitted = change_between(rows, over, limits)
    if fitted is None or abs(fitted.change.size) < limits.least_of(step.channel.metric):
        return Look(Outcome.NOTHING, 1.0, channel=name)
    carriers = carried_by(fitted.rows, over, fitted.change, limits)
    if carriers or is_one_clinics(fitted.rows, over, limits):
        return Look(Outcome.ONE_CLINIC, 1.0, carriers=carriers, channel=name)
    if _is_gradual(fitted.rows, over, limits):
        return Look(Outcome.GRADUAL, 1.0, channel=name)
    if fitted.change.own_side < limits.own_side or rests_on_single_units(
        fitted.rows, over, fitted.change, limits
    ):
        return Look(Outcome.NOTHING, 1.0, channel=name)
    if hangs_on_a_unit(rows, over, fitted, limits):
        return Look(Outcome.NOTHING, 1.0, channel=name)
    split = _split(step, place_of(fitted.rows, step.before, cuts, limits), channels, limits)
    return Look(Outcome.FOUND, step.p, (split,), channel=name)


def _is_gradual(rows: Rows, over: Floats, limits: Limits) -> bool:
    """Whether a slope along the order explains much more than the step."""
    within = Within(rows)
    step, slope = within.effect(over), within.effect(np.linspace(-0.5, 0.5, rows.units))
    return slope.size**2 * slope.information > step.size**2 * step.information + limits.gradual


def _split(step: _Step, place: Place, channels: Sequence[Channel], limits: Limits) -> Split:
    after = (np.arange(step.channel.rows.units) >= place.before).astype(float)
    units, clinics = told_by(step.channel.rows, after)
    changes = {
        channel.name: found.change
        for channel in channels
        if (found := change_between(channel.rows, after, limits)) is not None
    }
    return Split(place.before, place, step.channel, changes, step.p, units, clinics)


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
