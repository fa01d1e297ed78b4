"""All looks at one build together: along every order there is, and without one."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from registry.statistics.unlisted.along import Look, Outcome, split_along
from registry.statistics.unlisted.kinds import KindsLook, two_kinds
from registry.statistics.unlisted.limits import LIMITS, Limits
from registry.statistics.unlisted.rows import Channel, Channels

SERIAL, DATE = "serial", "date"
# How the chance of a false alarm is shared out: most of it goes along serials, where builds change. What
# there is no order for goes to the others in proportion.
_SHARES = {SERIAL: 0.9, DATE: 0.05}
_WITHOUT = 0.05
# An outcome further to the front says more of why nothing was told.
_TELLING = (Outcome.ONE_CLINIC, Outcome.GRADUAL, Outcome.NOTHING, Outcome.HIDDEN, Outcome.FEW)


@dataclass(frozen=True)
class Order:
    """Units in an order, `along` serials of one series or dates; `cuts[k]`: may a split lie after place k."""

    along: str
    units: tuple[int, ...]
    cuts: np.ndarray | None = None


@dataclass(frozen=True)
class Behaviour:
    """What all looks came to.

    `order` and `look` are those of the split found along an order, or of the most telling look; `kinds` is
    there where two kinds were found without an order. `p` is charged for all looks, those of earlier units
    among them, None where none could tell; `channels` are those of the order.
    """

    outcome: Outcome
    p: float | None
    order: Order | None = None
    look: Look | None = None
    kinds: KindsLook | None = None
    channels: list[Channel] = field(default_factory=list)

    def is_sure(self, limits: Limits = LIMITS) -> bool:
        """Whether a change was found that need not be seen again to be told.

        What a few wild units make flickers from look to look.
        """
        split = self.outcome is Outcome.FOUND and self.look is not None
        return split and self.p is not None and self.p <= limits.sure


def behaviour(channels: Channels, orders: Sequence[Order], *, seed: int = 1) -> Behaviour:
    """Look at one build's readings along `orders`, then without.

    Kinds without an order are looked for only where no order shows a change, be it little by little: that
    would show as kinds as well.
    """
    shares, made = _shared(orders), _Made(channels)
    looked = [_along(made, order, share) for order, share in zip(orders, shares, strict=True)]
    found = [one for one in looked if one.outcome is Outcome.FOUND]
    if found:
        return min(found, key=lambda one: one.p or 0.0)
    telling = min(looked, key=lambda one: _TELLING.index(one.outcome), default=None)
    if telling is not None and telling.outcome is Outcome.GRADUAL:
        return telling
    without = _without(made, 1.0 - sum(shares), seed)
    if without.outcome is Outcome.FOUND or telling is None:
        return without
    return telling


def _shared(orders: Sequence[Order]) -> list[float]:
    """Each order's share of the chance; orders of one sort (series of serials) share alike."""
    sorts = [order.along for order in orders]
    total = sum(_SHARES[sort] for sort in set(sorts)) + _WITHOUT
    return [_SHARES[sort] / total / sorts.count(sort) for sort in sorts]


@dataclass
class _Made:
    """The channels of a build, and looks along orders of units, each made once: orders may agree."""

    channels: Channels
    looked: dict[tuple[tuple[int, ...], tuple[bool, ...]], tuple[list[Channel], Look]] = field(
        default_factory=dict
    )

    def look(self, order: Order) -> tuple[list[Channel], Look]:
        cuts = () if order.cuts is None else tuple(order.cuts.tolist())
        if (order.units, cuts) not in self.looked:
            along = self.channels.along(order.units)
            found = split_along(along, cuts=order.cuts, limits=self.channels.limits)
            self.looked[order.units, cuts] = along, found
        return self.looked[order.units, cuts]


def _along(made: _Made, order: Order, share: float) -> Behaviour:
    limits = made.channels.limits
    of_order, look = made.look(order)
    p = None if look.p is None else limits.charged(look.p / share, len(order.units), limits.charge)
    outcome = look.outcome
    if outcome is Outcome.FOUND and p is not None and p > limits.chance:
        outcome = Outcome.NOTHING
    return Behaviour(outcome, p, order, look, channels=of_order)


def _without(made: _Made, share: float, seed: int) -> Behaviour:
    limits, units = made.channels.limits, tuple(int(unit) for unit in np.unique(made.channels.table["unit"]))
    of_order = made.channels.along(units)
    kinds = two_kinds(of_order, seed=seed, limits=limits)
    p = None if kinds.p is None else limits.charged(kinds.p / share, len(units), limits.kind_charge)
    outcome = kinds.outcome
    if outcome is Outcome.FOUND and p is not None and p > limits.kind_chance:
        outcome = Outcome.NOTHING
    return Behaviour(outcome, p, Order("none", units), kinds=kinds, channels=of_order)
