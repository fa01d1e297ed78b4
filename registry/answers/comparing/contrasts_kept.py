"""Contrasts between revisions, between firmwares, and of units with revisions are made ahead and kept; all
others are worked out when they are asked for."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import islice

from registry.answers.blocks import summary_blocks
from registry.answers.comparing import firmware_pairs, unit_pairs
from registry.answers.comparing.contrasts import Contrasts, contrasts_between, narrowed_down
from registry.answers.comparing.contrasts_packed import pack, read
from registry.answers.comparing.firmware_pairs import FIRMWARES, has_both
from registry.answers.comparing.heights import HEIGHTS, read_heights
from registry.answers.comparing.side_parts import read_sides
from registry.answers.comparing.sides import Sides
from registry.answers.comparing.unit_pairs import UNITS
from registry.answers.filters import CannotTell
from registry.answers.keeping.parts import PartKind, fresh_together
from registry.answers.narrowing import Narrowed, rig_labels
from registry.models import Revision

# Of a model with many revisions, pairs nearest to each other in order are made ahead: all of up to 11.
MOST_PAIRS = 55


def contrasts_of(sides: Sides, asked: Narrowed, moment: datetime | None = None) -> Contrasts:
    """Return what both sides differ by wherever both were measured of what is asked for.

    Kept ones are read in one query. The same comes out whether they are kept or not, and whichever of two
    comes first: revisions and firmwares are held against each other in the order of their keys or names, and
    a unit against a revision. Raises Invalid where there is no such unit, and as `Sides.blocks`.
    """
    turned = is_turned(sides) or firmware_pairs.are_turned(sides) or unit_pairs.is_turned(sides)
    in_order = sides.reversed() if turned else sides
    found = _kept(in_order, asked) if moment is None else None
    if found is None:
        found = _worked_out(in_order.located(), asked, moment)
    return found.reversed() if turned else found


def is_turned(sides: Sides) -> bool:
    """Whether two revisions are asked about the other way round than in the order of their keys."""
    both = sides.old.is_revision and sides.new.is_revision
    return both and (sides.old.revision or 0) > (sides.new.revision or 0)


def _kept(sides: Sides, asked: Narrowed) -> Contrasts | None:
    kind, key = _part_of(sides, asked)
    if key is None:
        return None
    bodies = fresh_together(asked.edition, sides.pump_model.pk, {kind: key, HEIGHTS: ""})
    body, heights = bodies.get(kind), bodies.get(HEIGHTS)
    try:
        found = None if body is None else narrowed_down(read(body, asked.metrics), asked)
    except CannotTell:
        return None
    if found is None or (kind is FIRMWARES and not has_both(found)):
        return None
    return found if heights is None else replace(found, heights=read_heights(heights))


def _part_of(sides: Sides, asked: Narrowed) -> tuple[PartKind, str | None]:
    """The part that tells of both, if any does."""
    if sides.old.is_revision and sides.new.is_revision:
        return CONTRASTS, pair_key(sides.old.revision or 0, sides.new.revision or 0)
    if sides.of_units:
        return UNITS, unit_pairs.key_of(sides, asked)
    return FIRMWARES, firmware_pairs.key_of(sides, asked)


def _worked_out(sides: Sides, asked: Narrowed, moment: datetime | None) -> Contrasts:
    found = read_sides(sides, asked, moment)
    old, new, labels = found.old, found.new, found.labels
    return contrasts_between(asked.of_rig(old, labels), asked.of_rig(new, labels), labels, sides.fixed)


def _make(model: int, edition: int, key: str) -> bytes:
    """All that two revisions differ by, at all settings and metrics, in each band and in all together."""
    old, new = (int(part) for part in key.split(":"))
    blocks = summary_blocks(pump_model=model, edition=edition, unit__revision__in=[old, new])
    before, after = ([block for block in blocks if block.revision == one] for one in (old, new))
    return pack(contrasts_between(before, after, rig_labels(blocks), each_band=True))


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the pairs are those of any edition
    return pairs_ahead(model)


def pairs_ahead(model: int) -> Iterator[str]:
    """The pairs of a model's revisions that anything is made ahead of, as parts are named by them."""
    revisions = Revision.objects.filter(pump_model=model).order_by("order", "pk").values_list("pk", flat=True)
    return (pair_key(*pair) for pair in islice(_nearest_first(list(revisions)), MOST_PAIRS))


def _nearest_first(of: Sequence[int]) -> Iterator[tuple[int, int]]:
    for apart in range(1, len(of)):
        yield from zip(of, of[apart:], strict=False)


def pair_key(one: int, other: int) -> str:
    """How a part of two revisions is named."""
    return f"{min(one, other)}:{max(one, other)}"


CONTRASTS = PartKind("contrasts", _make, _keys)
