"""What part swaps of two revisions are told from is made ahead and kept; of other sides it is worked out when
it is asked for."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import combinations

import numpy as np

from registry.answers.blocks import Block, Keys, summary_blocks
from registry.answers.comparing.contrasts_kept import is_turned, pair_key, pairs_ahead
from registry.answers.comparing.groups import GROUPS, group_of, metrics_of
from registry.answers.comparing.parts import PARTS, Words, value_of, words_of
from registry.answers.comparing.seen import Seen, seen_of
from registry.answers.comparing.side_parts import read_sides
from registry.answers.comparing.sides import Sides
from registry.answers.comparing.swapped import ORDERS, Swap, Swapped, split_all, splitting
from registry.answers.comparing.swaps_packed import Splits, pack, read
from registry.answers.filters import CannotTell
from registry.answers.keeping.parts import NOTHING, PartKind, fresh_of
from registry.answers.narrowing import Narrowed
from registry.models import Unit

# Pairs of values grow with the square of the values: with more of them nothing is made ahead.
MOST_SWAPS = 60


def swapped_of(sides: Sides, asked: Narrowed, moment: datetime | None = None) -> Swapped:
    """Return both sides wherever they were measured of what is asked for, and how differences split.

    Of revisions in one query where it is kept. The same comes out whether it is kept or not, and of two
    revisions whichever comes first. Raises Invalid where nothing that fits names a firmware.
    """
    turned = is_turned(sides)
    found = _kept(sides, asked) if moment is None else None
    if found is None:
        in_order = Sides(sides.pump_model, sides.new, sides.old) if turned else sides
        found = _worked_out(in_order, asked, moment)
    return found.reversed() if turned else found


def _kept(sides: Sides, asked: Narrowed) -> Swapped | None:
    if not _are_revisions(sides):
        return None
    pair = pair_key(sides.old.revision or 0, sides.new.revision or 0)
    keys = {f"{pair}:{group_of(metric)}" for metric in asked.metrics}
    bodies = fresh_of(SWAPS, asked.edition, sorted(keys), [sides.pump_model.pk])
    try:
        return _narrowed_down(read(list(bodies.values())), asked) if len(bodies) == len(keys) else None
    except CannotTell:
        return None


def _are_revisions(sides: Sides) -> bool:
    return sides.old.is_revision and sides.new.is_revision


def _narrowed_down(of: Swapped, asked: Narrowed) -> Swapped:
    """What a question asks for of what is there."""
    chosen, band = asked.chosen(), asked.elevation

    def kept(side: Sequence[Seen]) -> list[Seen]:
        return [one for one in side if band in (None, one.setting.elevation) and chosen(one.setting)]

    return replace(of, sides=(kept(of.sides[0]), kept(of.sides[1])))


def _worked_out(sides: Sides, asked: Narrowed, moment: datetime | None) -> Swapped:
    old, new, _ = read_sides(sides, asked, moment)
    rigs = words_of(block.setting.rig for block in (*old, *new))
    units = np.unique(np.concatenate([np.zeros(0, np.int64), *(block.unit for block in (*old, *new))]))
    return Swapped(
        (seen_of(old, units), seen_of(new, units)),
        rigs,
        splitting((old, new), rigs),
        shares_units=not _are_revisions(sides),
    )


def _make(model: int, edition: int, key: str) -> bytes:
    """All that two revisions were measured at, with all splits of any part's values; NOTHING of too many."""
    pair, _, group = key.rpartition(":")
    revisions = [int(part) for part in pair.split(":")]
    blocks = summary_blocks(
        pump_model=model,
        edition=edition,
        metric__in=metrics_of(group, edition),
        unit__revision__in=revisions,
    )
    old, new = ([block for block in blocks if block.revision == one] for one in revisions)
    rigs = words_of(block.setting.rig for block in blocks)
    swaps = _swaps(rigs)
    if len(swaps) > MOST_SWAPS:
        return NOTHING
    units = _units(model, revisions)
    return pack((seen_of(old, units), seen_of(new, units)), rigs, _splits((old, new), rigs, swaps))


def _units(model: int, revisions: Sequence[int]) -> Keys:
    """All units of the revisions, so that a bit is the same unit whatever the metrics."""
    found = Unit.objects.filter(pump_model=model, revision__in=revisions).order_by("pk")
    return np.array(found.values_list("pk", flat=True), np.int64)


def _swaps(rigs: dict[int, Words]) -> list[Swap]:
    """Of each part, every two of its values."""
    return [
        Swap(part, *pair)
        for part in PARTS
        for pair in combinations(sorted({value_of(rig, part) for rig in rigs.values()} - {""}), 2)
    ]


def _splits(blocks: Sequence[Sequence[Block]], rigs: dict[int, Words], swaps: Sequence[Swap]) -> Splits:
    """The splits of each swap, as far as there are any."""
    found = {swap: list(split_all(blocks, rigs, swap, ORDERS)) for swap in swaps}
    return {swap: rows for swap, rows in found.items() if rows}


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the pairs are those of any edition
    for pair in pairs_ahead(model):
        yield from (f"{pair}:{group}" for group in GROUPS)


SWAPS = PartKind("swaps", _make, _keys)
