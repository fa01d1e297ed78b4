"""Clock times that are all written alike, digit under digit, read as whole columns of digits."""

import re
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from registry.waveform.types import Floats

from .table import Stamps

# 9 stands for any digit.
_ISO = re.compile(
    r"(?:9{4}-99-99[T ]99:99:99|9{8}T9{6})(?:[.,](?P<part>9{1,9}))?(?:Z| ?UTC|(?P<zone>[+-]99(?::?99)?))?\Z"
)
_CLOCK = re.compile(
    r"(?P<date>9{1,4}([-./])9{1,2}\2?9{1,4} )?99?:99:99(?:[.,](?P<part>9{1,9})|:(?P<ms>999))?\Z"
)
_LAP = re.compile(r"99?:99(?:[.,](?P<part>9{1,9}))?\Z")
_EPOCH = date(1970, 1, 1).toordinal()
DAY, HOUR = 86_400, 3_600
Whole = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Quick:
    """Seconds from the first time, that one on the clock, and the form."""

    seconds: Floats
    origin_s: float
    unit: str


def of_one_form(stamps: Stamps) -> Quick | None:
    """The times, or None where they are written in several forms or in one that needs a closer look."""
    fields = _fields(stamps)
    if fields is None:
        return None
    form, values = fields
    if match := _ISO.match(form):
        return _iso(values, len(match["part"] or ""), match["zone"], form)
    if match := _CLOCK.match(form):
        own = values[3:] if match["date"] else values
        return _turning(own, len(match["part"] or match["ms"] or ""), 3, DAY, "hh:mm:ss")
    if match := _LAP.match(form):
        return _turning(values, len(match["part"] or ""), 2, HOUR, "mm:ss")
    return None


def _fields(stamps: Stamps) -> tuple[str, list[Whole]] | None:
    """(form, runs of digits as whole numbers), None where digits do not stand under digits."""
    starts = stamps.places[:, 0]
    width = int(stamps.places[0, 1] - starts[0])
    if not 0 < width <= 40 or not (stamps.places[:, 1] - starts == width).all():
        return None
    raw, form = np.frombuffer(stamps.text, dtype=np.uint8), ""
    values: list[Whole] = []
    for place in range(width):
        column = raw[starts + place]
        if 48 <= column[0] <= 57:
            digits = column - np.uint8(48)
            if (digits > 9).any():
                return None
            if form[-1:] == "9":
                values[-1] = values[-1] * 10 + digits
            else:
                values.append(digits.astype(np.int64))
            form += "9"
        elif (column == column[0]).all():
            form += chr(column[0])
        else:
            return None
    return form, values


def _iso(values: list[Whole], digits: int, zone: str | None, form: str) -> Quick | None:
    """Dates and times of ISO 8601, all in one zone."""
    if form[8] == "T":
        day, clock = values[0], values[1]
        split = [clock // 10_000, clock // 100 % 100, clock % 100]
        rest = values[2:]
    else:
        day, split, rest = (values[0] * 100 + values[1]) * 100 + values[2], values[3:6], values[6:]
    part, offsets = (rest[0], rest[1:]) if digits else (np.zeros(day.size, dtype=np.int64), rest)
    days = _ordinals(day)
    if days is None or any((offset != offset[0]).any() for offset in offsets):
        return None
    if any((value >= most).any() for value, most in zip(split, (24, 60, 60), strict=True)):
        return None
    whole = (((days * 24 + split[0]) * 60 + split[1]) * 60 + split[2] - days[0] * DAY) * 10**digits + part
    ahead = _offset(offsets, form, zone)
    origin = float((int(days[0]) - _EPOCH) * DAY + whole[0] / 10**digits - ahead)
    return Quick((whole - whole[0]) / 10**digits, origin, "ISO 8601")


def _offset(offsets: list[Whole], form: str, zone: str | None) -> float:
    """Seconds that a zone is ahead of universal time."""
    if zone is None or not offsets:
        return 0.0
    first = int(offsets[0][0])
    if len(offsets) > 1:
        seconds = first * HOUR + int(offsets[1][0]) * 60
    else:
        seconds = first * HOUR if len(zone) == 3 else first // 100 * HOUR + first % 100 * 60
    return float(-seconds if form[-len(zone)] == "-" else seconds)


def _ordinals(day: Whole) -> Whole | None:
    """Days since year 1 of dates written as one number, yyyymmdd; None for one that does not exist."""
    known = day[:1] if (day == day[0]).all() else np.unique(day)
    try:
        found = [date(one // 10_000, one // 100 % 100, one % 100).toordinal() for one in known.tolist()]
    except ValueError:
        return None
    return np.asarray(np.array(found, dtype=np.int64)[np.searchsorted(known, day)])


def _turning(values: list[Whole], digits: int, fields: int, lap: int, unit: str) -> Quick | None:
    """Times that start again at midnight or with the hour."""
    if any((value >= 60).any() for value in values[fields - 2 : fields]):
        return None
    whole = values[0]
    for value in values[1:fields]:
        whole = whole * 60 + value
    whole = whole * 10**digits + (values[fields] if digits else 0)
    turn = lap * 10**digits
    turns = np.cumsum(np.diff(whole, prepend=whole[0]) < -0.9 * turn)
    seconds = (whole - whole[0] + turn * turns) / 10**digits
    return Quick(seconds, float(whole[0] / 10**digits), unit)
