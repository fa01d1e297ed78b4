"""Where a serial stands: which scheme reads it, in which series, at which place. Pure, no queries."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from registry.models.catalogue import SerialScheme

LONGEST = 40
# Parts are packed in this radix, so that they never run into each other: 12 letters or 18 digits a part.
_RADIX = 36**12


@dataclass(frozen=True)
class Place:
    """A serial as its scheme reads it. Places compare only within one scheme and series."""

    serial: str
    scheme: SerialScheme
    series: str
    key: Decimal

    def comparable(self, other: "Place") -> bool:
        """Whether one of the two comes before the other at all."""
        return self.scheme.pk == other.scheme.pk and self.series == other.series


def tidy(serial: str) -> str:
    """Return a serial as typed by a person without the blanks around it and in capitals."""
    return " ".join(serial.split()).upper()


def bare(serial: str) -> str:
    """Return a tidied serial without the blanks, dashes, dots and slashes people add when copying it."""
    return re.sub(r"[\s\-./–]", "", serial.upper())


def place(serial: str, schemes: Iterable[SerialScheme]) -> Place | None:
    """Return where `serial` stands by the first scheme that reads it, or None when none does.

    The serial is tried as typed and then without blanks and dashes, so "lk 000-123" is LK000123.
    """
    for scheme in schemes:
        for form in dict.fromkeys((tidy(serial), bare(serial))):
            match = re.fullmatch(scheme.pattern, form) if len(form) <= LONGEST else None
            key = _key(match, scheme.order) if match else None
            if match and key is not None:
                return Place(form, scheme, _series(match, scheme.order), key)
    return None


def canonical(serial: str, found: Place | None) -> str:
    """Return the one spelling under which a unit is stored."""
    return found.serial if found else bare(serial)


def check_scheme(pattern: str, order: list[str]) -> str | None:
    """Return what is wrong with a scheme in plain words, or None when it can be used."""
    try:
        groups = re.compile(pattern).groupindex
    except re.error as error:
        return f"the pattern is not a regular expression: {error}"
    if not order:
        return "order names no part of the pattern; name at least one"
    missing = [name for name in order if name not in groups]
    if missing:
        return f"order names {', '.join(missing)}, which the pattern does not; it has {', '.join(groups)}"
    return None


def _series(match: re.Match[str], order: list[str]) -> str:
    parts = match.groupdict(default="")
    return "/".join(value for name, value in parts.items() if name not in order)


def _key(match: re.Match[str], order: list[str]) -> Decimal | None:
    """Pack the ordering parts into one number; None when a part is too long to keep its order."""
    key = 0
    for name in order:
        part = _part(match.group(name) or "0")
        if part >= _RADIX:
            return None
        key = key * _RADIX + part
    return Decimal(key)


def _part(text: str) -> int:
    """Digits count as a number; anything with letters counts in base 36, other signs dropped."""
    if text.isdecimal():
        return int(text)
    return int("0" + "".join(c for c in text.upper() if c.isascii() and c.isalnum()), 36)
