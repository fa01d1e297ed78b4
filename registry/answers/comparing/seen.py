"""What one side of a part swap was measured at: who read what, without the readings."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from registry.answers.blocks import Block, Keys, by_setting, distinct
from registry.answers.comparing.measured import Measured
from registry.answers.packing import UNDECLARED
from registry.answers.setting import Setting

_Who = tuple[int, frozenset[int], bool]


class Seen(NamedTuple):
    """One setting and metric.

    `units` has a bit a unit, the same one at all settings of both sides; `undeclared` tells whether any
    clinic read it by a gauge nobody declared.
    """

    setting: Setting
    units: int
    runs: int
    clinics: frozenset[int]
    undeclared: bool


def seen_of(blocks: Sequence[Block], units: Keys) -> list[Seen]:
    """What the summaries of a side say, in the order of settings; `units` are keys of all units, in order."""
    known: dict[bytes, _Who] = {}
    return [
        _seen(setting, of, [_who(block, units, known) for block in of])
        for setting, of in sorted(by_setting(blocks).items())
    ]


def _seen(setting: Setting, blocks: Sequence[Block], who: Sequence[_Who]) -> Seen:
    return Seen(
        setting,
        united(units for units, _, _ in who),
        sum(int(block.runs.sum()) for block in blocks),
        frozenset().union(*(clinics for _, clinics, _ in who)),
        any(undeclared for _, _, undeclared in who),
    )


def measured_at(side: Sequence[Seen]) -> Measured:
    """The same as other answers take it, without behaviour."""
    return Measured(
        tuple(one.setting for one in side),
        tuple(one.clinics for one in side),
        tuple(one.undeclared for one in side),
        np.full((len(side), 3), np.nan),
    )


def united(several: Iterable[int]) -> int:
    """The units that any of them has."""
    found = 0
    for units in several:
        found |= units
    return found


def _who(block: Block, units: Keys, known: dict[bytes, _Who]) -> _Who:
    """Units, clinics, and whether a gauge was not declared; mostly the same at all settings."""
    if block.who not in known:
        undeclared = bool((block.gauge == UNDECLARED).any())
        known[block.who] = _bits(block, units), frozenset(distinct([block], "clinic")), undeclared
    return known[block.who]


def _bits(block: Block, units: Keys) -> int:
    """The units of a block, a bit each at its place among all of them."""
    there = np.zeros(units.size, np.uint8)
    there[np.searchsorted(units, block.unit)] = 1
    return int.from_bytes(np.packbits(there, bitorder="little").tobytes(), "little")
