"""The shapes a scheme's serials have, sign by sign: what may stand where, and in which part. Pure.

With them a serial that a person copied can be held against a scheme: which signs fit, which were mistaken
for one another, and what may follow where only its beginning was typed.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from re import _constants as ops  # type: ignore[attr-defined]

from registry.models.serial_patterns import LONGEST, REPEATS, Item, Reader, inner, taken_apart

ORDINALS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_PUNCTUATION = "-./ _"
_ALPHABET = ORDINALS + _PUNCTUATION
# A scheme of more shapes than this, as three parts of any length have, is held to what it reads by itself.
_MOST_SHAPES = 200
# Signs that people take for one another: which digit a letter is taken for, and which letters a digit.
_TAKEN_FOR = {"O": "0", "I": "1", "L": "1", "0": "O", "1": "IL"}
_NAMES = {True: "digit", False: "letter"}
_MOST_SPELLINGS = 64

_CLASSES: Mapping[object, Callable[[str], bool]] = {
    ops.CATEGORY_DIGIT: lambda c: c.isdecimal(),
    ops.CATEGORY_NOT_DIGIT: lambda c: not c.isdecimal(),
    ops.CATEGORY_WORD: lambda c: c.isalnum() or c == "_",
    ops.CATEGORY_NOT_WORD: lambda c: not (c.isalnum() or c == "_"),
    ops.CATEGORY_SPACE: lambda c: c == " ",
    ops.CATEGORY_NOT_SPACE: lambda c: c != " ",
}


@dataclass(frozen=True)
class Sign:
    """One place of a serial: what may stand there, lowest first, and the part it belongs to, "" for none."""

    allowed: str
    part: str

    @property
    def is_between(self) -> bool:
        """Whether only a dash, dot, slash or blank stands here, which people leave out."""
        return all(c in _PUNCTUATION for c in self.allowed)


Shape = tuple[Sign, ...]


@dataclass(frozen=True)
class Spelling:
    """One way to read what was typed: the signs as they should be, and what was changed, in words."""

    text: str
    changes: tuple[str, ...]


@lru_cache(maxsize=1024)
def shapes(pattern: str) -> tuple[Shape, ...]:
    """Return the shapes of a usable pattern, shortest first; none where there are too many to tell."""
    expression, items = taken_apart(pattern)
    names = {number: name for name, number in expression.groupindex.items()}
    try:
        found = dict.fromkeys(shape for shape in _through(items, names, "") if 0 < len(shape) <= LONGEST)
    except _TooMany:
        return ()
    return tuple(sorted(found, key=len))


class _TooMany(ValueError):
    """More shapes than are worth telling apart."""


def _through(items: Sequence[Item], names: Mapping[int, str], part: str) -> list[Shape]:
    """All shapes of a row of items, none longer than a serial may be."""
    found: list[Shape] = [()]
    for item in items:
        tails = _of_item(item, names, part)
        found = [a + b for a, b in product(found, tails) if len(a) + len(b) <= LONGEST]
        if len(found) > _MOST_SHAPES:
            raise _TooMany
    return found


def _of_item(item: Item, names: Mapping[int, str], part: str) -> list[Shape]:
    op, argument = item
    if op in REPEATS:
        least, most, within = argument
        return list(_repeated(int(least), int(most), _through(within, names, part)))
    if op is ops.SUBPATTERN:
        return _through(argument[3], names, names.get(argument[0], part))
    branches = inner(item)
    if branches:
        return [shape for one in branches for shape in _through(one, names, part)]
    if op is ops.AT:
        return [()]
    return [(Sign("".join(c for c in _ALPHABET if _takes(item, c)), part),)]


def _repeated(least: int, most: int, once: list[Shape]) -> Iterator[Shape]:
    ends: list[Shape] = [()]
    for count in range(min(most, LONGEST) + 1):
        if count >= least:
            yield from ends
        ends = [a + b for a, b in product(ends, once) if len(a) + len(b) <= LONGEST]
        if not ends:
            return
        if len(ends) > _MOST_SHAPES:
            raise _TooMany


def _takes(item: Item, c: str) -> bool:
    op, argument = item
    if op is ops.LITERAL:
        return bool(argument == ord(c))
    if op is ops.NOT_LITERAL:
        return bool(argument != ord(c))
    if op is ops.RANGE:
        return bool(argument[0] <= ord(c) <= argument[1])
    if op is ops.CATEGORY:
        return bool(argument in _CLASSES and _CLASSES[argument](c))
    if op is ops.IN:
        is_negated = argument[0][0] is ops.NEGATE
        return is_negated != any(_takes(member, c) for member in argument[is_negated:])
    return op is ops.ANY


def spellings(bare: str, shape: Shape) -> list[Spelling]:
    """Return the ways to read letters and digits as a serial of this shape, signs between put in.

    Where a sign does not fit, one that people take it for may: O and 0, I and 1, L and 1.
    """
    core = [sign for sign in shape if not sign.is_between]
    if len(core) != len(bare):
        return []
    return _filled(bare, shape)


def beginnings(bare: str, shape: Shape) -> list[Spelling]:
    """Return the ways to read letters and digits as the beginning of a longer serial of this shape."""
    core = [sign for sign in shape if not sign.is_between]
    return _filled(bare, shape) if 0 < len(bare) < len(core) else []


def _filled(bare: str, shape: Shape) -> list[Spelling]:
    found = [Spelling("", ())]
    signs = iter(bare)
    typed = next(signs)
    for sign in shape:
        if sign.is_between:
            found = [Spelling(one.text + sign.allowed[:1], one.changes) for one in found]
            continue
        found = [
            Spelling(one.text + c, (*one.changes, *told))
            for one in found
            for c, told in _fitting(typed, sign)
        ][:_MOST_SPELLINGS]
        following = next(signs, None)
        if following is None:
            break
        typed = following
    return found


def _fitting(typed: str, sign: Sign) -> list[tuple[str, tuple[str, ...]]]:
    if typed in sign.allowed:
        return [(typed, ())]
    return [
        (c, (f"{_NAMES[typed.isdecimal()]} {typed} read as {_NAMES[c.isdecimal()]} {c}",))
        for c in _TAKEN_FOR.get(typed, "")
        if c in sign.allowed
    ]


def block(text: str, shape: Shape, made: Reader) -> tuple[str, str] | None:
    """Return the first and last serial that begin with `text`, a beginning of this shape.

    None where they are no unbroken stretch: the signs to come belong to a part that does not order, or one
    that orders more than a part that was typed.
    """
    if not _is_unbroken(len(text), shape, made):
        return None
    rest = shape[len(text) :]
    low = "".join(sign.allowed[:1] for sign in rest)
    return text + low, text + "".join(_highest(sign) for sign in rest)


def _highest(sign: Sign) -> str:
    ranked = [c for c in sign.allowed if c in ORDINALS]
    return ranked[-1] if ranked else sign.allowed[:1]


def _is_unbroken(typed: int, shape: Shape, made: Reader) -> bool:
    open_ = [index for index in range(typed, len(shape)) if len(shape[index].allowed) > 1]
    if any(shape[index].part not in made.bases for index in open_):
        return False
    ranked = [index for name in made.bases for index, sign in enumerate(shape) if sign.part == name]
    settled = [index not in open_ for index in ranked]
    return settled == sorted(settled, reverse=True)


def mended(bare: str, pattern: str) -> list[str]:
    """Return the serials of a pattern that letters and digits may be meant for; none where they fit none."""
    found = [spelling.text for shape in shapes(pattern) for spelling in spellings(bare, shape)]
    return list(dict.fromkeys(found))
