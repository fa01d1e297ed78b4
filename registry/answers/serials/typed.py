"""Read a serial or a range as a person types it, and say what was understood; two readings are refused.

Ways to read go from the plainest to the boldest, and the first that gives a reading decides:

1. as it stands, but for capitals, blanks and dashes; a range has both ends, or an end of which only the last
   signs are given (LK000001-4999);
2. with O and 0, or I, L and 1, taken for one another where the form of the serial asks for it, and with
   dashes put in;
3. the beginning of a serial, for all that begin so (LK0001.. is LK000100 to LK000199).

Where one way gives two readings that differ, none is taken: both are named.
"""

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

from registry.models import SerialScheme
from registry.models.serial_shapes import beginnings, block, shapes, spellings
from registry.models.serials import Place, bare, folded, place, reader_of, tidy

_BETWEEN_WORDS = re.compile(r"\s+(?:TO|UNTIL|THROUGH|THRU)\s+|\s*\.{2,}\s*", re.IGNORECASE)
_BETWEEN_SIGNS = re.compile(r"\s*-\s*|\s+")
_OPEN_END = re.compile(r"\s*(?:\.{2,}|\*+|-+)\s*$")
_OPEN_START = re.compile(r"^\s*(?:\.{2,}|\*+|-+)\s*")


@dataclass(frozen=True)
class Reading:
    """What was understood: two places of one model, equal for one serial, and what was changed, in words."""

    first: Place
    last: Place
    changes: tuple[str, ...] = ()

    @property
    def key(self) -> tuple[int, str, Decimal, int, str, Decimal]:
        """Readings of one key are one and the same."""
        return *_where(self.first), *_where(self.last)

    @property
    def is_range(self) -> bool:
        """Whether it spans more than one serial."""
        return self.first.serial != self.last.serial

    @property
    def words(self) -> str:
        """The reading in words."""
        return f"{self.first.serial} to {self.last.serial}" if self.is_range else self.first.serial


class Ambiguous(ValueError):
    """What was typed can be read in more than one way."""

    def __init__(self, readings: Sequence[Reading]) -> None:
        super().__init__(" and as ".join(reading.words for reading in readings))
        self.readings = tuple(readings)


class OpenEnd(ValueError):
    """A whole serial with dots after it: from there to where?"""

    def __init__(self, serial: str) -> None:
        super().__init__(serial)
        self.serial = serial


Schemes = Sequence[SerialScheme]
Ways = Callable[[str, Schemes], list[Reading]]
Tails = Callable[[Place, str, Schemes], list[Reading]]


def read_typed(first: str, last: str | None, schemes: Schemes) -> Reading | None:
    """Return what a person means by one text, or by the two ends of a range; None when nothing reads it.

    Raises Ambiguous, and OpenEnd. The ends are of one model, not always of one series, and may be out of
    order.
    """
    if last is None:
        return _one_text(folded(first), schemes)
    return _two_texts(folded(first), folded(last), schemes)


def has_small_letters(text: str) -> bool:
    """Whether serials were typed in small letters; the word between two of them does not count."""
    serials = _BETWEEN_WORDS.sub(" ", text)
    return serials != serials.upper()


def read_by(found: Place, schemes: Schemes) -> list[SerialScheme]:
    """All schemes that read this serial, in order; the first was taken."""
    return [scheme for scheme in schemes if place(found.serial, [scheme])]


def _one_text(text: str, schemes: Schemes) -> Reading | None:
    exact = _read(text, schemes, tidy(text))
    if exact:
        return exact[0]
    stem = _OPEN_END.sub("", text)
    if stem != text:
        return _beginning(stem, schemes)
    for one, tail in _STEPS:
        whole = _whole(text, schemes, one)
        # Two beginnings with a dash between say less than one beginning that has a dash in it.
        between = [] if whole and one is _end else _ranges(text, schemes, one, tail)
        if whole or between:
            return _only([*whole, *between])
    return None


def _two_texts(first: str, last: str, schemes: Schemes) -> Reading | None:
    stem, end = _OPEN_END.sub("", first), _OPEN_END.sub("", last)
    cut = _OPEN_START.sub("", end)
    for one, tail in _STEPS:
        good, bad = _pairs(one(stem, schemes), cut, schemes, one if cut == end else _nothing, tail)
        if good or bad:
            return _only(good or bad)
    return None


def _beginning(stem: str, schemes: Schemes) -> Reading | None:
    """A serial with dots after it: all that begin so, unless it is whole already."""
    whole, blocks = _mended(stem, schemes), _block(stem, schemes)
    if whole and not blocks:
        raise OpenEnd(whole[0].first.serial)
    return _only([*whole, *blocks])


def _whole(text: str, schemes: Schemes, one: Ways) -> list[Reading]:
    """The text as one serial, or as one beginning; with dots or a word between it can only be a range."""
    return [] if _BETWEEN_WORDS.search(text) else one(text, schemes)


def _ranges(text: str, schemes: Schemes, one: Ways, tail: Tails) -> list[Reading]:
    """Readings as a range of both ends; words and dots between them go before dashes and blanks."""
    for between in (_BETWEEN_WORDS, _BETWEEN_SIGNS):
        good: list[Reading] = []
        bad: list[Reading] = []
        for cut in between.finditer(text):
            head, rest = text[: cut.start()], text[cut.end() :]
            if head and rest:
                pairs = _pairs(one(head, schemes), rest, schemes, one, tail)
                good += pairs[0]
                bad += pairs[1] if one is _plainly else []
        if good or bad:
            return good or bad
    return []


def _pairs(
    firsts: Sequence[Reading], rest: str, schemes: Schemes, one: Ways, tail: Tails
) -> tuple[list[Reading], list[Reading]]:
    """Each first end with each way to read the last: by itself, and as the last signs of the first.

    Apart are those out of order or of two series. Two whole serials in the wrong order beside a reading by
    last signs are a reading of their own, since they may be meant the other way round.
    """
    good: list[Reading] = []
    bad: list[Reading] = []
    for first in firsts:
        for last in one(rest, schemes):
            pair = Reading(first.first, last.last, (*first.changes, *last.changes))
            in_order = pair.first.comparable(pair.last) and pair.first.key <= pair.last.key
            (good if in_order else bad).append(pair)
        good += [
            Reading(first.first, last.last, (*first.changes, *last.changes))
            for last in tail(first.first, rest, schemes)
        ]
    reversed_ = [pair for pair in bad if pair.first.comparable(pair.last)]
    return (good + reversed_ if good else []), bad


def _only(found: Sequence[Reading]) -> Reading | None:
    """The one reading there is, the one of fewest changes among equals. Raises Ambiguous for more."""
    distinct: dict[object, Reading] = {}
    for reading in found:
        known = distinct.get(reading.key)
        if known is None or len(reading.changes) < len(known.changes):
            distinct[reading.key] = reading
    if len(distinct) > 1:
        raise Ambiguous(list(distinct.values()))
    return next(iter(distinct.values()), None)


def _where(at: Place) -> tuple[int, str, Decimal]:
    return at.scheme.pk, at.series, at.key


def _read(typed: str, schemes: Schemes, form: str, changes: tuple[str, ...] = ()) -> list[Reading]:
    """`form` as the first scheme reads it, where that takes it as it is."""
    found = place(form, schemes) if form else None
    if found is None or found.serial != form:
        return []
    left_out = ("blanks and dashes left out",) if len(form) < len(typed) else ()
    put_in = ("dashes put in",) if _punctuation(form) > _punctuation(typed) else ()
    return [Reading(found, found, (*left_out, *put_in, *changes))]


def _punctuation(text: str) -> int:
    return sum(not c.isalnum() for c in text)


def _plainly(text: str, schemes: Schemes) -> list[Reading]:
    return _read(text, schemes, tidy(text)) or _read(text, schemes, bare(text))


def _mended(text: str, schemes: Schemes) -> list[Reading]:
    """As it stands, or else with signs that were mistaken for one another and dashes that were left out."""
    plain = _plainly(text, schemes)
    return plain or [reading for scheme in schemes for reading in _spelled(text, scheme)]


def _spelled(text: str, scheme: SerialScheme) -> Iterator[Reading]:
    signs = bare(text)
    for shape in shapes(scheme.pattern) if signs else ():
        for spelling in spellings(signs, shape):
            yield from _read(text, [scheme], spelling.text, spelling.changes)


def _block(text: str, schemes: Schemes) -> list[Reading]:
    """All serials that begin so, for each form they can have."""
    found, signs = [], bare(text)
    for scheme in schemes if signs else ():
        made = reader_of(scheme)
        for shape in shapes(scheme.pattern) if made else ():
            for spelling in beginnings(signs, shape):
                ends = block(spelling.text, shape, made) if made else None
                low, high = (place(end, [scheme]) for end in ends) if ends else (None, None)
                if low and high and low.comparable(high) and low.key <= high.key:
                    told = f"all serials that begin with {spelling.text}"
                    found.append(Reading(low, high, (*spelling.changes, told)))
    return found


def _end(text: str, schemes: Schemes) -> list[Reading]:
    return _mended(text, schemes) or _block(text, schemes)


def _plain_tail(first: Place, rest: str, schemes: Schemes) -> list[Reading]:
    return _tail(first, rest, schemes, _plainly)


def _mended_tail(first: Place, rest: str, schemes: Schemes) -> list[Reading]:
    return _tail(first, rest, schemes, _mended)


def _tail(first: Place, rest: str, schemes: Schemes, one: Ways) -> list[Reading]:
    """`rest` as the last signs of a serial that begins as `first` does."""
    signs = bare(rest)
    if not 0 < len(signs) < len(first.serial):
        return []
    whole = first.serial[: -len(signs)] + signs
    return [
        Reading(r.first, r.last, (*r.changes, f"{signs} taken for the last signs of {r.last.serial}"))
        for r in one(whole, schemes)
        if first.comparable(r.last) and first.key <= r.last.key
    ]


def _no_tail(first: Place, rest: str, schemes: Schemes) -> list[Reading]:  # noqa: ARG001 - one of the Tails
    return []


def _nothing(text: str, schemes: Schemes) -> list[Reading]:  # noqa: ARG001 - one of the Ways
    return []


_STEPS: tuple[tuple[Ways, Tails], ...] = (
    (_plainly, _plain_tail),
    (_mended, _mended_tail),
    (_end, _no_tail),
)
