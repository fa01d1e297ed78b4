"""What the lines before the table say: the unit of vacuum, the rate, the start."""

import re

from registry.waveform.units import unit_named

from .headings import VACUUM
from .words import TIME_SCALES, time_unit

Pairs = tuple[tuple[str, str], ...]


def unit_in(preamble: Pairs) -> str | None:
    """The unit of vacuum from lines such as `unit: kPa` or `Pressure = mbar`."""
    for key, value in preamble:
        if "unit" in key or "einheit" in key or VACUUM.search(key):
            for word in (value, *re.split(r"[\s,;=:()\[\]]+", value)):
                if word and unit_named(word):
                    return unit_named(word)
    return None


def rate_in(preamble: Pairs) -> float | None:
    """Samples a second from `rate: 100 Hz` or `interval: 10 ms`."""
    for key, value in preamble:
        match = re.match(r"\s*([0-9]+(?:[.,][0-9]+)?)\s*([^\s\d]*)", value)
        if not match or float(match[1].replace(",", ".")) <= 0:
            continue
        number, word = float(match[1].replace(",", ".")), match[2].casefold()
        bracket = re.search(r"[(\[]([^)\]]*)[)\]]", key)
        word = word or (bracket[1].casefold() if bracket else "")
        if re.search(r"rate|freq|hz|takt", key):
            return number * 1000 if word == "khz" else number
        if re.search(r"interval|^dt$|time step|sample time|sampling time|sample period", key):
            return 1.0 / (number * TIME_SCALES[time_unit(word) or "s"])
    return None


def started_in(preamble: Pairs) -> str | None:
    """Date and time of the start as written, in ISO 8601 order, or None."""
    for key, value in preamble:
        if re.search(r"start|date|recorded|begin|datum", key):
            match = re.search(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d)?)?", value)
            if match:
                return match[0]
    return None
