"""Which of many places are the likeliest to meet needs, without working most of them out.

A rough chance takes places in or passes them over, and bounds tell of which it need not be known: the chance
of two metrics lies as near to the product of both as their correlation lets it (R. L. Plackett, see `boxes`).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import pi

import numpy as np
from numpy.typing import NDArray
from scipy import special

from registry.statistics.boxes import box_chances
from registry.statistics.matching import Need, Predictions, Rows, beside, chances_each
from registry.statistics.robust import Floats

# Chances of places are told and ordered to so many decimals.
DIGITS = 6
# What a rough chance may be off by with one need, two, and more; and as a share of a small one. And how many
# doubtful places are worked out for each that is wanted, at most.
_ROUGH, _ROUGH_SHARE, _MOST_DOUBTFUL = (0.005, 0.01, 0.03), 0.1, 2
_NEVER = 1e-7
_NEVER_OUT = 5.25  # as a normal quantile; beyond is less
# What rounding may put a rough chance beyond its bounds by.
_HAIR = 1e-6
_UNKNOWN = -1.0

Together = Callable[[Rows], Floats]


@dataclass(frozen=True)
class Column:
    """What is ahead of one metric; what a need has to begin below, and end above, to be met at all.

    Of needs that begin above `furthest_up`, or end below `furthest_down`, the chance is less than _NEVER.
    """

    ahead: Predictions
    furthest_down: Floats
    furthest_up: Floats

    @classmethod
    def of(cls, ahead: Predictions) -> "Column":
        """The same with these."""
        freedom = ahead.freedom
        with np.errstate(over="ignore", invalid="ignore"):
            out = np.expm1((_NEVER_OUT * (8 * freedom + 3) / (8 * freedom + 1)) ** 2 / freedom)
            reach = np.where(ahead.error > 0, np.sqrt(freedom * out) * ahead.error, 0.0)
        return cls(ahead, ahead.value - reach, ahead.value + reach)

    def at(self, rows: Rows) -> "Column":
        """That of some places."""
        return Column(self.ahead.at(rows), self.furthest_down[rows], self.furthest_up[rows])

    def within(self, need: Need, rows: Rows) -> Rows:
        """Those of some places at which the need may be met."""
        low, high = need.ends
        for furthest, end, sign in ((self.furthest_up, low, 1), (self.furthest_down, high, -1)):
            if np.isfinite(end) or sign * end > 0:
                rows = rows[sign * furthest[rows] >= sign * end]
        return rows


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
    ahead: Sequence[Column], needs: Sequence[Need], together: Together, most: int, telling: float
) -> Likeliest:
    """Return the `most` likeliest places, at least; all, where there are no more.

    `ahead` has what is ahead of one metric for each need, `together` gives the correlations of some places;
    `telling` is from where on places count as likely.
    """
    size = ahead[0].furthest_up.size
    if size <= most:
        return _worked_out(ahead, needs, together, np.arange(size), telling)
    rough, likely = _roughly(ahead, needs, together, most, telling)
    last = _largest(rough, most)
    doubtful = int(np.count_nonzero(rough >= last - _off(len(needs), last)))
    wanted = min(max(most, doubtful), _MOST_DOUBTFUL * most, size)
    some = np.flatnonzero(rough >= _largest(rough, wanted))
    rows = some[np.argsort(-rough[some], kind="stable")[:wanted]]
    likely[rows] = False
    return _worked_out(ahead, needs, together, rows, telling, int(np.count_nonzero(likely)))


def _worked_out(
    ahead: Sequence[Column],
    needs: Sequence[Need],
    together: Together,
    rows: Rows,
    telling: float,
    rest: int = 0,
) -> Likeliest:
    low, high, alone = chances_each(beside([of.ahead.at(rows) for of in ahead]), needs)
    chances = np.round(box_chances(low, high, together(rows)), DIGITS)
    # Places come in the order of their rows, which holds where chances are alike.
    best = np.lexsort((rows, -chances))
    likely = rest + int(np.count_nonzero(chances >= telling))
    return Likeliest(rows[best], chances[best], alone[best], likely)


def _off(needs: int, last: float) -> float:
    """What the rough chance of a place may be below the last one that is wanted, for it to be doubtful."""
    return min(_ROUGH[min(needs, len(_ROUGH)) - 1], _ROUGH_SHARE * last)


def _largest(values: Floats, place: int) -> float:
    """The largest value but so many less one."""
    return float(np.partition(values, values.size - place)[values.size - place])


def _roughly(
    ahead: Sequence[Column], needs: Sequence[Need], together: Together, most: int, telling: float
) -> tuple[Floats, NDArray[np.bool_]]:
    """Rough chances of places that may be among the `most` likeliest, else _UNKNOWN; and which are likely."""
    of = _Open.of(ahead, needs, together)
    # As good as the last that is wanted are at least so many.
    least = float(of.bounds(of.best_apart(most))[0].min()) if of.rows.size >= most else 0.0
    cut = least - _off(len(needs), least) - _HAIR
    near = np.flatnonzero(of.least >= min(cut, telling - _HAIR))
    lower, upper = of.bounds(near)
    open_ = (upper >= telling - _HAIR) & (lower < telling + _HAIR)
    sure = np.zeros(of.rows.size, bool)
    sure[near] = lower >= telling + _HAIR
    worked_out = near[open_ | (upper >= cut)]
    found = of.work_out(worked_out)
    sure[worked_out] = np.round(found, DIGITS) >= telling
    rough, likely = np.zeros(ahead[0].furthest_up.size), np.zeros(ahead[0].furthest_up.size, bool)
    rough[of.rows], likely[of.rows] = _UNKNOWN, sure
    rough[of.rows[worked_out]] = found
    return rough, likely


@dataclass(frozen=True)
class _Open:
    """Places of which no need is surely missed.

    `rows` are theirs, `low` and `high` both ends of each need as normal quantiles, nearly, `alone` the
    chances of each by itself, `product` and `least` of these.
    """

    needs: Sequence[Need]
    together: Together
    rows: Rows
    low: Floats
    high: Floats
    alone: Floats
    product: Floats
    least: Floats

    @classmethod
    def of(cls, ahead: Sequence[Column], needs: Sequence[Need], together: Together) -> "_Open":
        """What is known before any two needs are put together."""
        rows = np.arange(ahead[0].furthest_up.size)
        for column, need in zip(ahead, needs, strict=True):
            rows = column.within(need, rows)
        ends = []
        for column, need in zip(ahead, needs, strict=True):
            of = column.ahead.at(rows)
            low, high = (_nearly_normal(end, of.freedom) for end in of.scaled([need]))
            ends.append((low, high, _below(high) - _below(low)))
        low, high, alone = (np.stack(of, axis=1) for of in zip(*ends, strict=True))
        least = alone.min(axis=1)
        some = np.flatnonzero(least > _NEVER)
        low, high, alone = low[some], high[some], alone[some]
        return cls(needs, together, rows[some], low, high, alone, alone.prod(axis=1), least[some])

    @property
    def _pairs(self) -> list[tuple[int, int]]:
        return list(combinations(range(len(self.needs)), 2))

    def best_apart(self, most: int) -> Rows:
        """So many places that would be the likeliest if no two metrics went together."""
        return np.argpartition(self.product, self.rows.size - most)[self.rows.size - most :]

    def work_out(self, at: Rows) -> Floats:
        """Rough chances at little cost: of pairs of metrics, put together as if no three went together."""
        low, high, alone, bound = self.low[at], self.high[at], self.alone[at], self.together(self.rows[at])
        rough, least = self.product[at], self.least[at]
        for one, other in self._pairs:
            pair = np.array([one, other])
            both = box_chances(low[:, pair], high[:, pair], bound[:, pair[:, None], pair])
            rough *= both / (alone[:, one] * alone[:, other])
            least = np.minimum(least, both)
        return np.minimum(rough, least)

    def bounds(self, at: Rows) -> tuple[Floats, Floats]:
        """Between what the rough chances of some places lie.

        The density at each corner of a pair's box is at most 1 over 2 pi by the arc; of four corners two
        count against the other two, of two one against the other.
        """
        alone, bound = self.alone[at], self.together(self.rows[at])
        low, least_low = self.product[at], np.ones(at.size)
        high, least_high = low.copy(), self.least[at]
        for one, other in self._pairs:
            first, second = alone[:, one], alone[:, other]
            product = first * second
            corners = min(_closed(self.needs[one]), _closed(self.needs[other]))
            by = np.arcsin(np.abs(bound[:, one, other])) * (corners / (2 * pi))
            fewest = np.maximum(np.maximum(product - by, first + second - 1), 0.0)
            most = np.minimum(np.minimum(product + by, first), second)
            low, high = low * (fewest / product), high * (most / product)
            least_low, least_high = np.minimum(least_low, fewest), np.minimum(least_high, most)
        return np.minimum(low, least_low), np.minimum(high, least_high)


def _closed(need: Need) -> int:
    """How many ends a need has."""
    return int(np.isfinite(need.ends).sum())


def _below(ends: Floats) -> Floats:
    """The share of a normal below."""
    if np.isinf(ends).all():
        return (ends > 0).astype(float)
    share: Floats = special.ndtr(ends)
    return share


def _nearly_normal(scaled: Floats, freedom: Floats) -> Floats:
    """As `matching.chances_each`, by D. L. Wallace's approximation, Ann. Math. Stat. 30 (1959) 1121, from
    memory."""
    if np.isinf(scaled).all():
        return scaled
    out = np.sqrt(freedom * np.log1p(scaled**2 / freedom)) * ((8 * freedom + 1) / (8 * freedom + 3))
    quantiles: Floats = np.sign(scaled) * out
    return quantiles
