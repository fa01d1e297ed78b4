"""What the pattern of a serial scheme may be: its parts told apart, its cost bounded. Pure, no queries.

Python's engine tries one way of matching after the other and cannot be interrupted, so a pattern that can be
matched in very many ways would stop the server. Here every pattern is taken apart before it is used, and the
ways in which any text of up to LONGEST characters could be tried are counted; too many, and it is refused.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from re import _constants as ops  # type: ignore[attr-defined]
from re import _parser  # type: ignore[attr-defined]
from string import ascii_letters
from typing import Any

# As long as the columns that hold them.
LONGEST = 40
LONGEST_PATTERN = 200
MOST_PARTS = 4
# Ways of trying a text; a way costs some ten nanoseconds. Three parts of any length are about 20 000.
MOST_WAYS = 50_000

Item = tuple[Any, Any]

_CHARACTERS = {ops.LITERAL, ops.NOT_LITERAL, ops.ANY, ops.IN}
REPEATS = {ops.MAX_REPEAT, ops.MIN_REPEAT, ops.POSSESSIVE_REPEAT}
_OF_LETTERS = {ops.CATEGORY_WORD, ops.CATEGORY_NOT_DIGIT, ops.CATEGORY_NOT_SPACE}
_BARRED = {
    ops.GROUPREF: "refers back to what it read before",
    ops.GROUPREF_EXISTS: "refers back to what it read before",
    ops.ASSERT: "looks ahead or behind",
    ops.ASSERT_NOT: "looks ahead or behind",
}


class Unusable(ValueError):
    """A pattern that cannot serve as a scheme; the message says why in plain words."""


@dataclass(frozen=True)
class Reader:
    """A scheme made ready. `bases` give the base each ordering part counts in, `series` the other parts."""

    expression: re.Pattern[str]
    bases: Mapping[str, int]
    series: tuple[str, ...]


@lru_cache(maxsize=1024)
def reader(pattern: str, order: tuple[str, ...]) -> Reader | Unusable:
    """Return the scheme made ready, or what is wrong with it; kept, so only the first call takes it apart.

    A part counts in base 36 when its pattern lets a letter stand anywhere in it, else in base 10: what base a
    serial counts in never depends on the serial.
    """
    try:
        return _made_ready(pattern, order)
    except Unusable as wrong:
        return wrong


def _made_ready(pattern: str, order: tuple[str, ...]) -> Reader:
    expression, items = taken_apart(pattern)
    names = expression.groupindex
    _check_order(order, names)
    parts = dict(_parts(items, {number: name for name, number in names.items()}))
    _check_ways(items)
    bases = {name: 36 if _may_hold_letters(parts[name]) else 10 for name in order}
    return Reader(expression, bases, tuple(name for name in names if name not in order))


def taken_apart(pattern: str) -> tuple[re.Pattern[str], Sequence[Item]]:
    """Return a pattern compiled, and as the engine's items; raises Unusable for no regular expression."""
    if len(pattern) > LONGEST_PATTERN:
        raise Unusable(f"the pattern is longer than {LONGEST_PATTERN} characters")
    try:
        return re.compile(pattern, re.ASCII), _parser.parse(pattern, re.ASCII)
    except (re.error, ValueError, OverflowError, RecursionError) as error:
        raise Unusable(f"the pattern is not a regular expression: {error}") from error


def _check_order(order: tuple[str, ...], names: Mapping[str, int]) -> None:
    if not order:
        raise Unusable("order names no part of the pattern; name at least one")
    missing = [name for name in order if name not in names]
    if missing:
        has = ", ".join(names) or "no named part"
        raise Unusable(f"order names {', '.join(missing)}, which the pattern does not; it has {has}")
    if len(set(order)) != len(order) or len(order) > MOST_PARTS:
        raise Unusable(f"order names each part once, and at most {MOST_PARTS} of them")


def inner(item: Item) -> list[Sequence[Item]]:
    """The patterns within one item of a pattern."""
    op, argument = item
    if op is ops.SUBPATTERN:
        return [argument[3]]
    if op is ops.BRANCH:
        return list(argument[1])
    if op in REPEATS:
        return [argument[2]]
    return [argument] if op is ops.ATOMIC_GROUP else []


def _parts(
    items: Sequence[Item], names: Mapping[int, str], within: str = "", *, repeated: bool = False
) -> Iterator[tuple[str, Sequence[Item]]]:
    """Each named part with its own pattern. A part within another, or read more than once, means nothing."""
    for item in items:
        op, argument = item
        name = names.get(argument[0]) if op is ops.SUBPATTERN else None
        if name and within:
            raise Unusable(f"the part {name} lies within the part {within}; put parts side by side")
        if name and repeated:
            raise Unusable(f"the part {name} is repeated; put the repeat inside it")
        if name:
            yield name, argument[3]
        again = repeated or (op in REPEATS and argument[1] > 1)
        for within_it in inner(item):
            yield from _parts(within_it, names, name or within, repeated=again)


def _may_hold_letters(items: Sequence[Item]) -> bool:
    return any(
        (item[0] in _CHARACTERS and any(_takes(item, ord(letter)) for letter in ascii_letters))
        or any(_may_hold_letters(one) for one in inner(item))
        for item in items
    )


def _takes(item: Item, letter: int) -> bool:
    """Whether an item that stands for one character can stand for this letter."""
    op, argument = item
    if op is ops.LITERAL:
        return bool(argument == letter)
    if op is ops.NOT_LITERAL:
        return bool(argument != letter)
    if op is ops.RANGE:
        return bool(argument[0] <= letter <= argument[1])
    if op is ops.CATEGORY:
        return argument in _OF_LETTERS
    if op is ops.IN:
        is_negated = argument[0][0] is ops.NEGATE
        return is_negated != any(_takes(member, letter) for member in argument[is_negated:])
    return op is ops.ANY


def _check_ways(items: Sequence[Item]) -> None:
    start = [1] + [0] * LONGEST
    if not any(_Ways().through(start, items)):
        raise Unusable(f"the pattern asks for more than {LONGEST} characters, the longest a serial can be")


class _Ways:
    """Counts the ways of going through a pattern, by how many characters were read when getting there.

    Which characters they are is left out, so the count is never too low: a text for which every way is open
    until its last character is the worst there can be.
    """

    def __init__(self) -> None:
        self._spent = 0

    def through(self, ways: list[int], items: Sequence[Item]) -> list[int]:
        """Return the ways that lead past `items`. Raises Unusable once they are too many on the road."""
        for item in items:
            ways = self._past(ways, item)
            self._spend(sum(ways))
        return ways

    def _spend(self, ways: int) -> None:
        self._spent += ways
        if self._spent > MOST_WAYS:
            raise Unusable(
                "the pattern can be matched in too many ways, which would slow every upload; give parts "
                "a length, as in \\d{6}, and repeat no group that holds a repeat"
            )

    def _past(self, ways: list[int], item: Item) -> list[int]:
        op, argument = item
        if op in _BARRED:
            raise Unusable(f"the pattern {_BARRED[op]}, which a serial scheme may not")
        if op in _CHARACTERS:
            return [0, *ways[:-1]]
        if op in REPEATS:
            return self._repeated(ways, *argument)
        within = inner(item)
        return _sum([self.through(ways, one) for one in within]) if within else ways

    def _repeated(self, ways: list[int], least: int, most: int, items: Sequence[Item]) -> list[int]:
        ends = [ways] if least == 0 else []
        for count in range(1, most + 1):
            self._spend(1)  # A group that reads nothing costs its rounds all the same.
            ways = self.through(ways, items)
            if count >= least:
                ends.append(ways)
            if not any(ways):
                break
        return _sum(ends) if ends else ways


def _sum(several: Sequence[list[int]]) -> list[int]:
    return [sum(column) for column in zip(*several, strict=True)]
