"""Contrasts between the commonest firmwares of a model, made ahead as those between revisions are."""

from collections.abc import Iterator
from itertools import combinations

from registry.answers.comparing.contrasts import Contrasts, contrasts_between
from registry.answers.comparing.contrasts_packed import pack
from registry.answers.comparing.groups import MAIN, group_of
from registry.answers.comparing.side_parts import common_firmwares, read_sides
from registry.answers.comparing.sides import Side, Sides
from registry.answers.keeping.parts import PartKind
from registry.answers.narrowing import Narrowed, narrowed
from registry.errors import Invalid
from registry.models import PumpModel

# No firmware has it in its name, since blanks there are single ones.
_BETWEEN = "\n"
_LONGEST_KEY = 80


def are_turned(sides: Sides) -> bool:
    """Whether two firmwares are asked about the other way round than in the order of their names."""
    tags = _tags(sides)
    return tags is not None and tags[0] > tags[1]


def key_of(sides: Sides, asked: Narrowed) -> str | None:
    """What the part of two firmwares is called; None for other sides, and where none has what is asked for.

    The database alone knows capitals beyond ASCII.
    """
    tags = _tags(sides)
    if tags is None or not all(tag.isascii() for tag in tags) or set(map(group_of, asked.metrics)) != {MAIN}:
        return None
    return _BETWEEN.join(sorted(tags))


def has_both(of: Contrasts) -> bool:
    """Whether anything that is asked for ran either firmware: if not, the database tells why."""
    return all(side.settings for side in of.sides)


def _tags(sides: Sides) -> tuple[str, str] | None:
    old, new = sides.old.firmware, sides.new.firmware
    return None if old is None or new is None else (old.upper(), new.upper())


def _make(model: int, edition: int, key: str) -> bytes:
    """All that two firmwares differ by in the main metrics, in each band and in all together."""
    old, new = (Side(f"firmware {tag}", firmware=tag) for tag in key.split(_BETWEEN))
    try:
        found = read_sides(Sides(PumpModel(pk=model), old, new), narrowed(edition))
    except Invalid:
        return pack(contrasts_between([], [], {}))
    return pack(contrasts_between(found.old, found.new, found.labels, each_band=True))


def _keys(model: int, edition: int) -> Iterator[str]:  # noqa: ARG001 - the same for all editions
    pairs = (_BETWEEN.join(sorted(pair)) for pair in combinations(common_firmwares(model), 2))
    return (key for key in pairs if len(key) <= _LONGEST_KEY)


FIRMWARES = PartKind("firmwares", _make, _keys)
