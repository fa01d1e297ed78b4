"""Where a serial stands: which scheme reads it, in which series, at which place. Pure, no queries.

A serial is the same however it is copied: case, blanks, any of the dashes, dots and slashes, full-width and
other scripts' digits make no difference. Leading zeros do, for they are part of what the label bears: under
`\\d+` the serials 7 and 0007 are two units that share one place. A scheme that gives the length, as in
`\\d{4}`, reads only one of them, and is the better scheme wherever the length is known.
"""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from registry.models.catalogue import SerialScheme
from registry.models.serial_dates import DateForm, Made, date_form
from registry.models.serial_patterns import LONGEST, Reader, Unusable, reader

# Parts are packed in this radix, so that they never run into each other: 12 characters a part where letters
# may stand, 18 digits elsewhere.
_RADIX = 36**12
# Dashes by meaning that Unicode does not file as dashes: the minus sign, the hyphen bullet, the modifier.
_OTHER_DASHES = "\u2212\u2043\u02d7"
NO_DATE: Mapping[str, Any] = MappingProxyType({})
_ADDED_BY_PEOPLE = re.compile(r"[\s\-./]")


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
    """Return a serial as typed by a person without the blanks around it, in capitals, with plain dashes.

    Empty when it is longer than LONGEST: no serial is, so it matches none.
    """
    made = folded(serial)
    return made if len(made) <= LONGEST else ""


def bare(serial: str) -> str:
    """Return a serial without the blanks, dashes, dots and slashes people add when copying it.

    Empty when nothing else is in it, or when it is longer than LONGEST even so.
    """
    stripped = _stripped(folded(serial))
    return stripped if len(stripped) <= LONGEST else ""


def spellings(serial: str) -> list[str]:
    """Return the spellings under one of which a unit of that serial is stored; which, its scheme decides."""
    return [form for form in dict.fromkeys((tidy(serial), bare(serial))) if form]


def place(serial: str, schemes: Iterable[SerialScheme]) -> Place | None:
    """Return where `serial` stands by the first scheme that reads it, or None when none does.

    The serial is tried as typed and then without blanks and dashes, so "lk 000-123" is LK000123. A scheme
    that `check_scheme` refuses reads nothing.
    """
    forms = spellings(serial)
    for scheme in schemes:
        made = reader_of(scheme)
        for form in forms if made else ():
            match = made.expression.fullmatch(form) if made else None
            key = _key(match, made, date_of(scheme)) if match and made else None
            if match and made and key is not None:
                return Place(form, scheme, "/".join(match.group(name) or "" for name in made.series), key)
    return None


def canonical(serial: str, found: Place | None) -> str:
    """Return the one spelling, of 1 to LONGEST characters, under which a unit is stored.

    Raises ValueError for a serial that `check_serial` refuses.
    """
    spelled = found.serial if found else bare(serial)
    if not spelled:
        raise ValueError(check_serial(serial) or "holds no letter or digit")
    return spelled


def check_serial(text: str) -> str | None:
    """Return why `text` cannot be a serial, in words that follow the field's name, or None when it can."""
    if any(unicodedata.category(c) in ("Cc", "Cs") and not c.isspace() for c in text):
        return "holds a character that no label bears"
    made = folded(text)
    if not any(c.isalnum() for c in made):
        return "holds no letter or digit"
    length = len(_stripped(made))
    if length > LONGEST:
        return f"has {length} letters and digits in capitals; a serial has at most {LONGEST}"
    return None


def check_scheme(
    pattern: str, order: list[str], dated: Mapping[str, Any] = NO_DATE, plant: str = ""
) -> str | None:
    """Return what is wrong with a scheme in plain words, or None when it can be used."""
    made = reader(pattern, tuple(order))
    if isinstance(made, Unusable):
        return str(made)
    if plant and plant not in made.series:
        return f"plant names {plant}, which is not a part of the pattern outside order"
    try:
        date_form(dated, made.expression.groupindex, order)
    except Unusable as wrong:
        return str(wrong)
    return None


def reader_of(scheme: SerialScheme) -> Reader | None:
    """Return the scheme made ready, None when it cannot be used."""
    made = reader(scheme.pattern, tuple(scheme.order))
    return None if isinstance(made, Unusable) else made


def date_of(scheme: SerialScheme) -> DateForm | None:
    """Return the scheme's date part made ready; None when it has none, or none that can be used."""
    made = reader_of(scheme) if scheme.date else None
    if made is None:
        return None
    try:
        return date_form(scheme.date, made.expression.groupindex, scheme.order)
    except Unusable:
        return None


def made_on(found: Place, seen: date) -> Made | None:
    """Return when a serial says its unit was made; `seen` is a day on which the unit was there."""
    reader_ready, form = reader_of(found.scheme), date_of(found.scheme)
    match = reader_ready.expression.fullmatch(found.serial) if reader_ready and form else None
    return form.made(_texts(match), seen) if form and match else None


def plant_of(found: Place) -> str | None:
    """Return what a serial says of where its unit was made; None where its scheme names no such part."""
    made = reader_of(found.scheme) if found.scheme.plant else None
    match = made.expression.fullmatch(found.serial) if made else None
    return (match.group(found.scheme.plant) or None) if match else None


def _texts(match: re.Match[str]) -> dict[str, str]:
    return {name: text or "" for name, text in match.groupdict().items()}


def folded(serial: str) -> str:
    """Return text as typed by a person in capitals, with plain dashes and single blanks, of any length."""
    if serial.isascii():
        return " ".join(serial.upper().split())
    # Capitals can come apart, and what stood on either side of a sign left out can join: hence three times.
    capitals = _normal(_normal(serial).upper())
    return " ".join(_normal("".join(map(_plain, capitals))).split())


def _stripped(text: str) -> str:
    return _normal(_ADDED_BY_PEOPLE.sub("", text))


def _normal(text: str) -> str:
    return unicodedata.normalize("NFKC", text)


def _plain(character: str) -> str:
    """One character in the form it has in ASCII, where it is a digit, a dash or not there to be seen."""
    if character.isascii():
        return character
    if character.isdecimal():
        return str(unicodedata.decimal(character))
    kind = unicodedata.category(character)
    if kind == "Pd" or character in _OTHER_DASHES:
        return "-"
    return "" if kind == "Cf" else character


def _key(match: re.Match[str], made: Reader, form: DateForm | None) -> Decimal | None:
    """Pack the ordering parts into one number; None when a part is too long to keep its order."""
    key = 0
    texts = form.ordinals(_texts(match)) if form else {}
    for name, base in made.bases.items():
        part = _part(texts.get(name) or match.group(name) or "0", base)
        if part is None or part >= _RADIX:
            return None
        key = key * _RADIX + part
    return Decimal(key)


def _part(text: str, base: int) -> int | None:
    """The number a part spells, other signs dropped; None with a letter that has no place in the order."""
    if not text.isdecimal():
        text = "".join(c for c in text.upper() if c.isalnum())
    return int(text or "0", base) if text.isascii() else None
