"""Write the serial next to a known one, where its scheme allows."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from registry.models import SerialScheme
from registry.models.serials import Place, place, reader_of

_DIGITS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"


@dataclass(frozen=True)
class Name:
    """One end of a stretch. With `excluded` it is the nearest serial just outside the stretch, because the
    scheme has no spelling for the one inside (number 1000 of a week in three digits, say)."""

    serial: str
    excluded: bool = False


class Namer:
    """Spells the ends of stretches of one series from the serials known in it, by place."""

    def __init__(self, within: Place, known: Mapping[int, str], schemes: Iterable[SerialScheme]) -> None:
        self._within = within
        self._known = known
        self._schemes = list(schemes)

    def first(self, key: int) -> Name:
        """Name the first serial of a stretch: a known one, or the successor of one. KeyError if neither."""
        return self._name(key, -1)

    def last(self, key: int) -> Name:
        """Name the last serial of a stretch: a known one, or the predecessor of one. KeyError if neither."""
        return self._name(key, 1)

    def within(self, first: int, last: int) -> str | None:
        """A serial about half way through a stretch, None where none can be spelled."""
        if last - first < 2 or not self._known:
            return None
        middle = (first + last) // 2
        nearest = min(self._known, key=lambda key: abs(key - middle))
        at = replace(self._within, serial=self._known[nearest], key=Decimal(nearest))
        return beside(at, middle - nearest, self._schemes)

    def _name(self, key: int, outward: int) -> Name:
        if key in self._known:
            return Name(self._known[key])
        serial = self._known[key + outward]
        outside = replace(self._within, serial=serial, key=Decimal(key + outward))
        spelled = beside(outside, -outward, self._schemes)
        return Name(spelled) if spelled else Name(serial, excluded=True)


def beside(at: Place, step: int, schemes: Iterable[SerialScheme]) -> str | None:
    """Return the serial whose place is `at`'s plus `step`, or None when the scheme has none.

    The least significant part is counted on in the serial itself, so everything else keeps its spelling; the
    result counts only when the scheme reads it back as exactly that place.
    """
    schemes = list(schemes)
    made = reader_of(at.scheme)
    match = made.expression.fullmatch(at.serial) if made else None
    part = at.scheme.order[-1]
    if made is None or match is None or match.group(part) is None:
        return None
    start, end = match.span(part)
    for text in _counted_on(match.group(part), step, made.bases[part]):
        candidate = at.serial[:start] + text + at.serial[end:]
        found = place(candidate, schemes)
        if (
            found
            and found.comparable(at)
            and int(found.key) == int(at.key) + step
            and found.serial == candidate
        ):
            return candidate
    return None


def _counted_on(text: str, step: int, base: int) -> Iterator[str]:
    """Spellings of the part one further; a part with leading zeros keeps its width, others may change it."""
    try:
        value = int(text, base) + step
    except ValueError:
        return
    if value < 0:
        return
    plain = _spelled(value, base)
    padded = plain.zfill(len(text))
    yield from dict.fromkeys((padded, plain) if text.startswith("0") else (plain, padded))


def _spelled(value: int, base: int) -> str:
    digits = ""
    while value or not digits:
        value, digit = divmod(value, base)
        digits = _DIGITS[digit] + digits
    return digits
