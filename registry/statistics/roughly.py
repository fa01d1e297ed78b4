"""Rough chances of meeting needs at many places, at little cost, and between what bounds they lie.

The rough chance of several needs is what pairs of them make of it if no three go together: the product of
the chances of each alone, times what each pair has more than the product of its two, and no more than any
pair has. The chance of two metrics lies as near to the product of both as their correlation lets it
(R. L. Plackett, see `boxes`).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from registry.statistics.boxes import EXACT, FINE, ROUGH, pair_chances
from registry.statistics.matching import Need, Predictions, Rows
from registry.statistics.robust import Floats

NEVER = 1e-7
_NEVER_OUT = 5.25  # as a normal quantile; beyond is less
# Two needs of which one is missed less often than this are met as if they did not go together.
_HARDLY = 1e-9
# A chance of that and more is told as 1.
CERTAIN = 1 - 5e-7
# A rough chance of less is nought: places that nobody would choose come in the order of their names.
_NOTHING = 1e-10
# Where two needs are met less often than this if they do not go together, more digits of both count.
_SMALL = 0.1
_BENT = pi / 2 - 1

# The correlations of pairs of metrics at some places, a row a pair.
Bound = Callable[[Rows, Rows, Rows], Floats]


@dataclass(frozen=True)
class Column:
    """What is ahead of one metric; what a need has to begin below, and end above, to be met at all.

    Of needs that begin above `furthest_up`, or end below `furthest_down`, the chance is less than NEVER.
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

    def may_meet(self, need: Need) -> NDArray[np.bool_]:
        """Where the need may be met."""
        low, high = need.ends
        met: NDArray[np.bool_] = (self.furthest_up >= low) & (self.furthest_down <= high)
        return met

    def ends(self, need: Need, rows: Rows) -> tuple[Floats, Floats, Floats]:
        """Both ends of the need as normal quantiles, nearly, and the chance between them, at some places."""
        of = self.ahead if rows.size == self.furthest_up.size else self.ahead.at(rows)
        low, high = (_nearly_normal(end, of.freedom) for end in of.scaled([need]))
        return low, high, _below(high) - _below(low)


@dataclass(frozen=True)
class Open:
    """Places of which no need is surely missed, and what is known before any two needs are put together.

    `rows` are theirs among `size`. Of each need, a row a need: `low` and `high`, both ends as normal
    quantiles, nearly; `alone`, the chance of it by itself.
    """

    needs: Sequence[Need]
    together: Bound
    size: int
    rows: Rows
    low: Floats
    high: Floats
    alone: Floats

    @classmethod
    def of(cls, ahead: Sequence[Column], needs: Sequence[Need], together: Bound) -> "Open":
        """Those among all places; see `likeliest.likeliest`."""
        met = np.ones(ahead[0].furthest_up.size, bool)
        for column, need in zip(ahead, needs, strict=True):
            met &= column.may_meet(need)
        rows = np.flatnonzero(met)
        found = (column.ends(need, rows) for column, need in zip(ahead, needs, strict=True))
        low, high, alone = (np.stack(of) for of in zip(*found, strict=True))
        some = alone.min(axis=0) > NEVER
        if some.all():
            return cls(needs, together, met.size, rows, low, high, alone)
        return cls(needs, together, met.size, rows[some], low[:, some], high[:, some], alone[:, some])

    @cached_property
    def product(self) -> Floats:
        """The chance if no two metrics went together."""
        found: Floats = self.alone.prod(axis=0)
        return found

    @cached_property
    def least(self) -> Floats:
        """The chance of the need that is met the least often."""
        found: Floats = self.alone.min(axis=0)
        return found

    @cached_property
    def _pairs(self) -> tuple[Rows, Rows]:
        one, other = np.triu_indices(len(self.needs), 1)
        return one, other

    def best_apart(self, number: int) -> Rows:
        """So many places, or all, that would be the likeliest if no two metrics went together."""
        if self.rows.size <= number:
            return np.arange(self.rows.size)
        return np.argpartition(self.product, self.rows.size - number)[self.rows.size - number :]

    def everywhere(self, values: NDArray[Any], fill: Any) -> NDArray[Any]:
        """The same a row of all places; `fill` where a need is surely missed."""
        found = np.full(self.size, fill, values.dtype)
        found[self.rows] = values
        return found

    def work_out(self, at: Rows, *, exactly: bool = False) -> Floats:
        """Rough chances of some places; what would be told as certain is 1, and next to nothing 0.

        Pairs of needs are good to ROUGHLY, or `exactly` to ten digits.
        """
        rough = self.product[at]
        if len(self.needs) > 1 and at.size:
            more, least = self._of_pairs(at, exactly=exactly)
            rough = np.minimum(np.minimum(rough * more, least), self.least[at])
        rough = np.where(rough >= CERTAIN, 1.0, rough)
        return np.where(rough < _NOTHING, 0.0, rough)

    def _of_pairs(self, at: Rows, *, exactly: bool) -> tuple[Floats, Floats]:
        """What all pairs have more than the products of their two, multiplied, and the least that any has."""
        one, other = self._pairs
        low, high, alone = (of[:, at] for of in (self.low, self.high, self.alone))
        product = alone[one] * alone[other]
        both, bound = product.copy(), self.together(self.rows[at], one, other)
        known = np.maximum(alone[one], alone[other]) < 1 - _HARDLY
        small = product < (np.inf if exactly else _SMALL)
        for some, rules in ((known & small, EXACT if exactly else FINE), (known & ~small, ROUGH)):
            pair, place = np.nonzero(some)
            if pair.size:
                first, second = ((low[of, place], high[of, place]) for of in (one[pair], other[pair]))
                both[some] = pair_chances(bound[some], first, second, rules)
        return (both / product).prod(axis=0), both.min(axis=0)

    def bounds_apart(self, at: Rows) -> tuple[Floats, Floats]:
        """Between what the rough chances of some places lie, however metrics go together.

        With the odds against each need, a pair has at least 1 less the product of both odds of what the
        product of its two chances is.
        """
        alone = self.alone[:, at]
        missed = 1 - alone
        odds = missed / alone
        by = (odds.sum(axis=0) ** 2 - (odds**2).sum(axis=0)) / 2
        low = np.minimum(self.product[at] * (1 - by), 1 - missed.sum(axis=0))
        return np.maximum(low, 0.0), self.least[at]

    def bounds(self, at: Rows) -> tuple[Floats, Floats]:
        """Between what the rough chances of some places lie, as metrics go together there.

        The density at each corner of a pair's box is at most 1 over 2 pi by the arc; of four corners two
        count against the other two, of two one against the other.
        """
        one, other = self._pairs
        if not one.size:
            return self.product[at], self.least[at]
        alone = self.alone[:, at]
        first, second = alone[one], alone[other]
        product = first * second
        closed = np.array([_closed(need) for need in self.needs])
        corners = np.minimum(closed[one], closed[other])[:, None]
        by = _arc(self.together(self.rows[at], one, other)) * (corners / (2 * pi))
        fewest = np.maximum(np.maximum(product - by, first + second - 1), 0.0)
        most = np.minimum(product + by, np.minimum(first, second))
        low, high = ((of / product).prod(axis=0) * self.product[at] for of in (fewest, most))
        return np.minimum(low, fewest.min(axis=0)), np.minimum(high, most.min(axis=0))


def _arc(together: Floats) -> Floats:
    """At least the arcsine of correlations, whose series ends as if all later powers were cubes."""
    size = np.abs(together)
    found: Floats = size + _BENT * size**3
    return found


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
    quantiles: Floats = np.copysign(out, scaled)
    return quantiles
