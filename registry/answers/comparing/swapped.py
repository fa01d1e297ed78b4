"""Two builds with either value of a part: how differences split, before anything is asked of them.

Nothing that a question narrows down to goes into a split: it chooses among settings. So splits are worked out
ahead (`swaps_kept`), of two builds and two values in one order, and told in whichever order is asked for.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, NamedTuple, Protocol, TypeVar

import numpy as np

from registry.answers.blocks import Block
from registry.answers.comparing.parts import Words, rest_of, value_of
from registry.answers.comparing.seen import Seen
from registry.answers.readings import tables_in
from registry.answers.setting import Setting
from registry.answers.wording import figure
from registry.statistics.differences import fits
from registry.statistics.swap import CELLS, Share, Split, splits

# The cells of a fit that stand for those asked about: as they are, with the part turned, the base, and both.
ORDERS = ((0, 1, 2, 3), (1, 0, 3, 2), (2, 3, 0, 1), (3, 2, 1, 0))
SHARES = ("total", "part", "base", "interaction", "part_on_old", "part_on_new")
_SHARE = tuple(of.name for of in fields(Share))
# The old value, and what `Share` has of each share.
FIGURES = 1 + len(SHARES) * len(_SHARE)


class HasSetting(Protocol):
    """Anything of one setting and metric."""

    @property
    def setting(self) -> Setting:
        """Its setting."""
        ...


Of = TypeVar("Of", bound=HasSetting)
Cells = tuple[list[Of], list[Of], list[Of], list[Of]]


class Key(NamedTuple):
    """A setting without its rig, and the rig without the part."""

    setting: Setting
    rest: str


class Swap(NamedTuple):
    """A part, and the values of it that are held against each other."""

    part: str
    old: str
    new: str

    @property
    def in_order(self) -> "Swap":
        """The same, whichever value is asked for as the old one."""
        return self if self.old <= self.new else Swap(self.part, self.new, self.old)


class Told(NamedTuple):
    """How a difference splits, as documents tell it.

    `figures` are FIGURES, None where there is none; `between` are the variances between units of the bases,
    `unlike` tells whether they clearly differ; `aside` is how many wild units were set aside.
    """

    figures: Sequence[float | None]
    unlike: bool
    between: tuple[float, float]
    aside: int

    def shares(self) -> dict[str, dict[str, float | None]]:
        """All shares by name."""
        size = len(_SHARE)
        found = {}
        for at, name in enumerate(SHARES):
            value, low, high, *percents = self.figures[1 + at * size : 1 + (at + 1) * size]
            named = dict(zip(("percent", "percent_low", "percent_high"), percents, strict=True))
            found[name] = {"value": value, "low": low, "high": high, **named}
        return found


@dataclass(frozen=True)
class Swapped:
    """What both sides were measured at, the words of rigs, and how differences split.

    `split` tells of two values of a part as one of ORDERS has it. `turned` says that the sides stand the
    other way round than in what it splits. Where no unit is on both sides a fit is the same whichever way
    round its cells are, so that it is made of values in one order; `shares_units` says that one may be.
    """

    sides: tuple[Sequence[Seen], Sequence[Seen]]
    rigs: Mapping[int, Words]
    split: Callable[[Swap, int], Mapping[Key, Told]]
    turned: bool = False
    shares_units: bool = False

    def reversed(self) -> "Swapped":
        """The same with old for new."""
        return replace(self, sides=self.sides[::-1], turned=not self.turned)

    def cells(self, swap: Swap) -> dict[Key, Cells[Seen]]:
        """What was measured at each setting, in the order of `swap.CELLS`."""
        return celled(self.sides, swap, self.rigs)

    def told(self, swap: Swap) -> dict[Key, Told]:
        """How differences split wherever enough was measured to tell."""
        fitted = swap if self.shares_units else swap.in_order
        found = self.split(fitted, 2 * self.turned + (fitted != swap))
        if not self.turned:
            return dict(found)
        return {key: one._replace(between=one.between[::-1]) for key, one in found.items()}


def celled(sides: Sequence[Sequence[Of]], swap: Swap, rigs: Mapping[int, Words]) -> dict[Key, Cells[Of]]:
    """Both sides by setting and rest of the rig, each with its cell (`swap.CELLS`)."""
    found: dict[Key, Cells[Of]] = {}
    which = {swap.old: 0, swap.new: 1}
    cell = {key: which.get(value_of(rig, swap.part)) for key, rig in rigs.items()}
    rests = {key: rest_of(rig, swap.part) for key, rig in rigs.items()}
    for base, side in enumerate(sides):
        for one in side:
            rig = one.setting.rig
            if (part := cell[rig]) is not None:
                key = Key(one.setting._replace(rig=0), rests[rig])
                found.setdefault(key, ([], [], [], []))[2 * base + part].append(one)
    return found


def splitting(
    blocks: Sequence[Sequence[Block]], rigs: Mapping[int, Words]
) -> Callable[[Swap, int], dict[Key, Told]]:
    """What tells how differences split, worked out of both sides' summaries when it is asked."""

    def split(swap: Swap, order: int) -> dict[Key, Told]:
        return {key: told[0] for key, told in split_all(blocks, rigs, swap, ORDERS[order : order + 1])}

    return split


def split_all(
    blocks: Sequence[Sequence[Block]], rigs: Mapping[int, Words], swap: Swap, orders: Sequence[Sequence[int]]
) -> Iterator[tuple[Key, list[Told]]]:
    """Every setting at which all four cells were measured, and enough of them to tell, in several orders."""
    whole = [(key, four) for key, four in celled(blocks, swap, rigs).items() if all(four)]
    tables = tables_in([four for _, four in whole], build=[base for base, _ in CELLS])
    for places, together in fits(tables):
        told = [[_figures(one) for one in splits(together, order)] for order in orders]
        # Cells 0 and 2 stand for the bases.
        between = np.stack([together.between_units(cell)[0] for cell in (0, 2)], axis=1).tolist()
        columns = zip(places.tolist(), together.spread.unlike.tolist(), between, strict=True)
        for at, (place, unlike, (old, new)) in enumerate(columns):
            aside = int(together.wild.size)
            yield whole[place][0], [Told(one[at], unlike, (old, new), aside) for one in told]


def _figures(of: Split) -> list[float | None]:
    found = [figure(of.old)]
    for name in SHARES:
        share: Share = getattr(of, name)
        percents: Any = (share.share, share.share_low, share.share_high)
        found += [figure(value) for value in (share.value, share.low, share.high)]
        found += [None if value is None else figure(100 * value) for value in percents]
    return found
