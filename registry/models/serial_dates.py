"""The date of making in a serial: which parts spell it, in which form, and when that was. Pure, no queries.

A scheme declares it as `date = { group = "yw", form = "YYWW", base = 2020 }`. `group` is a part of the
pattern, or a list of parts read one after the other; `form` says how: YYYY, YY or Y for the year, A for a
letter of the year, MM or M (one sign a month) for the month, WW for the week (ISO 8601), DDD for the day of
the year, DD for the day of the month. `base` is the first year that the digits or the letter can mean: with
base 2018, a last digit 7 is 2027. Without a base the year is the last one that fits and had begun when the
unit was first seen.
"""

import re
from calendar import monthrange
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from registry.models.serial_patterns import Unusable

KEYS = ("group", "form", "base", "letters", "months")
LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MONTHS = "123456789ABC"
_FIELD = re.compile(r"YYYY|YY|Y|A|MM|M|WW|DDD|DD")
_YEARS = ("YYYY", "YY", "Y", "A")
_ORDINALS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_EARLIEST, _LATEST = 1950, 2200


@dataclass(frozen=True)
class Made:
    """When a serial says its unit was made: from one day to another, in words, and how the year was told."""

    first: date
    last: date
    says: str
    year_by: str


@dataclass(frozen=True)
class DateForm:
    """A date part made ready. `fields` are its signs with their places in the joined text of `groups`."""

    groups: tuple[str, ...]
    fields: tuple[tuple[str, int, int], ...]
    length: int
    base: int | None
    letters: str
    months: str

    def ordinals(self, parts: Mapping[str, str]) -> dict[str, str]:
        """Return the parts that spell the date, rewritten so that a later date spells a higher number.

        Without a base the digits of the year stay as they are. A part that does not fit the form stays too.
        """
        joined = "".join(parts.get(name, "") for name in self.groups)
        if len(joined) != self.length:
            return {}
        signs = list(joined)
        for field, start, stop in self.fields:
            place = self._place_of(field, joined[start:stop])
            if place is not None:
                signs[start:stop] = place
        return self._parted("".join(signs), parts)

    def _parted(self, joined: str, parts: Mapping[str, str]) -> dict[str, str]:
        rewritten, at = {}, 0
        for name in self.groups:
            length = len(parts.get(name, ""))
            rewritten[name] = joined[at : at + length]
            at += length
        return rewritten

    def _place_of(self, field: str, text: str) -> str | None:
        """The sign or digits by which a field's text is ordered; None where it is ordered as it stands."""
        if field == "A":
            place = self.letters.find(text)
            return _ORDINALS[place] if place >= 0 else None
        if field == "M":
            place = self.months.find(text)
            return _ORDINALS[place + 1] if place >= 0 else None
        if field in ("YY", "Y") and self.base is not None and text.isdecimal():
            width = len(field)
            return str((int(text) - self.base) % 10**width).zfill(width)
        return None

    def made(self, parts: Mapping[str, str], seen: date) -> Made | None:
        """Return when the parts say it was made; None for no date. `seen` is a day on which it was there."""
        joined = "".join(parts.get(name, "") for name in self.groups)
        if len(joined) != self.length:
            return None
        said = {field: joined[start:stop] for field, start, stop in self.fields}
        year, by = self._year(said, seen)
        if year is None or not _EARLIEST <= year <= _LATEST:
            return None
        try:
            return _within(year, by, said, self.months)
        except ValueError:
            return None

    def _year(self, said: Mapping[str, str], seen: date) -> tuple[int | None, str]:
        field = next(field for field in _YEARS if field in said)
        if field == "A":
            place = self.letters.find(said[field])
            return (None, "") if place < 0 or self.base is None else (self.base + place, "declared base")
        text = said[field]
        if not text.isdecimal():
            return None, ""
        value, cycle = int(text), 10 ** len(field)
        if field == "YYYY":
            return value, "written in full"
        if self.base is not None:
            return self.base + (value - self.base) % cycle, "declared base"
        return seen.year - (seen.year - value) % cycle, "the last that fits"


def _within(year: int, by: str, said: Mapping[str, str], months: str) -> Made:
    """The days a year and the rest of the date span. ValueError for what no calendar has."""
    if "WW" in said:
        monday = date.fromisocalendar(year, int(said["WW"]), 1)
        return Made(monday, monday + timedelta(days=6), f"week {int(said['WW'])} of {year}", by)
    if "DDD" in said:
        day = date(year, 1, 1) + timedelta(days=int(said["DDD"]) - 1)
        if day.year != year:
            raise ValueError("no such day")
        return Made(day, day, day.isoformat(), by)
    month = int(said["MM"]) if "MM" in said else 0
    if "M" in said:
        month = months.index(said["M"]) + 1
    if not month:
        return Made(date(year, 1, 1), date(year, 12, 31), str(year), by)
    first = date(year, month, int(said.get("DD", "1")))
    if "DD" in said:
        return Made(first, first, first.isoformat(), by)
    return Made(first, first.replace(day=monthrange(year, month)[1]), f"{first:%B} {year}", by)


def date_form(declared: Mapping[str, Any], names: Collection[str], order: Collection[str]) -> DateForm | None:
    """Return a declared date part made ready, None for none; raises Unusable saying what is wrong with it."""
    if not declared:
        return None
    groups = declared.get("group", ())
    groups = (groups,) if isinstance(groups, str) else tuple(groups)
    missing = [name for name in groups if name not in names]
    if missing or not groups:
        raise Unusable(f"date names the part {', '.join(missing) or 'none'}, which the pattern does not")
    fields = _fields(str(declared.get("form", "")))
    made = DateForm(
        groups=groups,
        fields=fields,
        length=fields[-1][2],
        base=declared.get("base"),
        letters=str(declared.get("letters") or LETTERS),
        months=str(declared.get("months") or MONTHS),
    )
    _check_signs(made, order)
    return made


def _fields(form: str) -> tuple[tuple[str, int, int], ...]:
    found = [(match.group(), match.start(), match.end()) for match in _FIELD.finditer(form)]
    if not form or sum(stop - start for _, start, stop in found) != len(form):
        raise Unusable(f"date has the form '{form}'; it is made of YYYY, YY, Y, A, MM, M, WW, DDD and DD")
    names = [field for field, _, _ in found]
    years = [name for name in names if name in _YEARS]
    parts = {"MM", "M", "WW", "DDD"} & set(names)
    if len(years) != 1 or len(set(names)) != len(names) or len(parts) > 1:
        raise Unusable(f"the form '{form}' of date needs one year, and one of month, week or day of the year")
    if "DD" in names and not {"MM", "M"} & set(names):
        raise Unusable(f"the form '{form}' of date has a day without a month")
    return tuple(found)


def _check_signs(made: DateForm, order: Collection[str]) -> None:
    names = {field for field, _, _ in made.fields}
    orders = any(group in order for group in made.groups)
    if "A" in names and made.base is None:
        raise Unusable("date tells the year by a letter; declare base, the year of the first letter")
    if "Y" in names and orders and made.base is None:
        raise Unusable("a year of one digit begins again every ten years; declare base, its first year")
    for what, signs, most in (("letters", made.letters, 36), ("months", made.months, 12)):
        if len(set(signs)) != len(signs) or len(signs) > most or not signs.isascii():
            raise Unusable(f"{what} lists each sign once, and at most {most} of them")
    if "M" in names and len(made.months) != len(MONTHS):
        raise Unusable("months lists twelve signs, one a month")
