"""Which of many places are the likeliest to meet needs, without working most of them out.

A rough chance takes places in or passes them over (see `roughly`), and bounds tell of which it need not be
known.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.statistics.boxes import ROUGHLY, box_chances
from registry.statistics.matching import Need, Rows, beside, chances_each
from registry.statistics.robust import Floats
from registry.statistics.roughly import CERTAIN, NEVER, Bound, Column, Open

# Chances of places are told and ordered to so many decimals.
DIGITS = 6
# What the rough chance of a place may be below the last one that is wanted with one need, two, and more, and
# as a share of a small one; and how many such places are worked out for each that is wanted, at most.
_ROUGH, _ROUGH_SHARE, _MOST_DOUBTFUL = (0.005, 0.01, 0.03), 0.1, 2
# Where pairs are not worked out exactly, a small rough chance is off by a hundredth of itself and less.
_SHARE_OFF = 0.01
# What rounding may put a rough chance beyond its bounds by.
_HAIR = 1e-6
_UNKNOWN = -1.0


@dataclass(frozen=True)
class Likeliest:
    """Places that were worked out, the likeliest first, and equals as they come.

    `chances` are those of all needs at once, to DIGITS decimals, `alone` those of each need, a column a need.
    `likely` is how many of all places are as likely as was asked for: by rough chances where they were not
    worked out, which are good to about 0.01, and to 0.03 where three metrics and more go together by half and
    more.
    """

    rows: Rows
    chances: Floats
    alone: Floats
    likely: int


def likeliest(
    ahead: Sequence[Column], needs: Sequence[Need], together: Bound, most: int, telling: float
) -> Likeliest:
    """Return the `most` likeliest places, at least; all, where there are no more.

    `ahead` has what is ahead of one metric for each need, `together` gives correlations at some places;
    `telling` is from where on places count as likely.
    """
    size, passed_over = ahead[0].furthest_up.size, 0
    rows = np.arange(size)
    if size > most:
        rough, likely = _roughly(ahead, needs, together, most, telling)
        rows = _doubtful(rough, most, len(needs))
        likely[rows] = False
        passed_over = int(np.count_nonzero(likely))
    chances, alone = _worked_out(ahead, needs, together, rows)
    best = np.lexsort((rows, -chances))
    likely_ones = passed_over + int(np.count_nonzero(chances >= telling))
    return Likeliest(rows[best], chances[best], alone[best], likely_ones)


def _doubtful(rough: Floats, most: int, needs: int) -> Rows:
    """Places that may be among the `most` likeliest, so many at least; of equals the first."""
    last = _largest(rough, most)
    doubtful = int(np.count_nonzero(rough >= last - _off(needs, last)))
    wanted = min(max(most, doubtful), _MOST_DOUBTFUL * most, rough.size)
    some = np.flatnonzero(rough >= _largest(rough, wanted))
    return some[np.argsort(-rough[some], kind="stable")[:wanted]]


def _worked_out(
    ahead: Sequence[Column], needs: Sequence[Need], together: Bound, rows: Rows
) -> tuple[Floats, Floats]:
    """The chances of all needs at some places, as they are told, and of each."""
    low, high, alone = chances_each(beside([of.ahead.at(rows) for of in ahead]), needs)
    chances = np.zeros(rows.size)
    some = np.flatnonzero(alone.min(axis=1) > NEVER)
    chances[some] = box_chances(low[some], high[some], _matrices(together, rows[some], len(needs)))
    return np.round(chances, DIGITS), alone


def _matrices(together: Bound, rows: Rows, needs: int) -> Floats:
    """A matrix of correlations a place."""
    found = np.empty((rows.size, needs, needs))
    found[:] = np.eye(needs)
    one, other = np.triu_indices(needs, 1)
    if one.size:
        found[:, one, other] = found[:, other, one] = together(rows, one, other).T
    return found


def _off(needs: int, last: float) -> float:
    """What the rough chance of a place may be below the last one that is wanted, for it to be doubtful."""
    return min(_ROUGH[min(needs, len(_ROUGH)) - 1], _ROUGH_SHARE * last)


def _largest(values: Floats, place: int) -> float:
    """The largest value but so many less one."""
    return float(np.partition(values, values.size - place)[values.size - place])


def _roughly(
    ahead: Sequence[Column], needs: Sequence[Need], together: Bound, most: int, telling: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Rough chances of places that may be among the likeliest, else _UNKNOWN; and which are likely."""
    of = Open.of(ahead, needs, together)
    lower, upper = np.zeros(of.rows.size), of.least.copy()
    sure = np.flatnonzero(upper >= CERTAIN)
    lower[sure] = of.bounds_apart(sure)[0]
    found = np.where(lower >= CERTAIN, 1.0, _UNKNOWN)
    cut, latest = _cut(of, found, most)
    near = np.flatnonzero(found < 0)
    for bounds in (None, of.bounds_apart, of.bounds):
        if bounds:
            lower[near], upper[near] = bounds(near)
        near = near[_in_doubt(lower[near], upper[near], np.where(near < latest, cut, np.inf), telling)]
    found[near] = of.work_out(near)
    likely = np.where(found < 0, lower, found) >= telling
    unsure = np.flatnonzero((found >= 0) & (np.abs(found - telling) < ROUGHLY))
    likely[unsure] = np.round(of.work_out(unsure, exactly=True), DIGITS) >= telling
    return of.everywhere(found, 0.0), of.everywhere(likely, fill=False)


def _cut(of: Open, found: Floats, most: int) -> tuple[float, int]:
    """Which rough chance a place needs to be among those that are worked out, and up to which place it counts
    where it is that at most. Works out those that seem the best."""
    number = _MOST_DOUBTFUL * most
    certain = np.flatnonzero(found > 0)
    if certain.size >= number:
        # Equals come in the order of their rows.
        return CERTAIN, int(certain[number - 1])
    best = of.best_apart(number)
    found[best] = of.work_out(best)
    if best.size < number:
        return 0.0, of.rows.size
    last = _largest(found[best], most)
    cut = max(last - _off(len(of.needs), last), float(found[best].min()))
    return cut - min(ROUGHLY, _SHARE_OFF * last) - _HAIR, of.rows.size


def _in_doubt(lower: Floats, upper: Floats, cut: Floats, telling: float) -> NDArray[np.bool_]:
    """Where a rough chance may be as large as `cut`, or where bounds do not tell whether it is likely."""
    told = (lower >= telling + _HAIR) | (upper < telling - _HAIR)
    return (upper >= cut) | ~told
