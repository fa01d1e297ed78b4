"""Words that header cells use for units of time and pressure."""

import re

from registry.waveform.units import unit_named

TIME_SCALES = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0, "d": 86400.0}
_TIME_UNITS = {
    **dict.fromkeys(
        ("s", "sec", "secs", "second", "seconds", "sek", "sekunden", "secondes", "segundos"), "s"
    ),
    **dict.fromkeys(("ms", "msec", "msecs", "millis", "millisecond", "milliseconds", "millisekunden"), "ms"),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microseconds"), "us"),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), "h"),
    **dict.fromkeys(("d", "day", "days"), "d"),
}
_CLOCK_FORM = re.compile(r"(?:[dmyDMY]{1,4}[-./T ]*)*[hHmM]{1,2}(?::[mMsS]{1,2})+(?:[.,][fFsS0-9]+)?")
_BRACKETED = re.compile(r"^(.*?)\s*[(\[{]([^)\]}]*)[)\]}]?\s*(.*)$")
_TAILED = re.compile(r"^(.+?)(?:\s+in\s+|\s*[/,:]\s*|[_\s]+|-)([^\s_/,:]+(?: ?H2O| ?Hg)?)$", re.IGNORECASE)


def _is_unit(text: str) -> bool:
    return unit_named(text) is not None or time_unit(text) is not None


def any_unit(text: str) -> bool:
    """Whether a word is a unit of pressure or of time, a clock form, or a sign for none."""
    word = text.strip()
    known = unit_named(word) or time_unit(word) or _CLOCK_FORM.fullmatch(word)
    return bool(known) or word.casefold() in {"-", "", "1", "#", "°c", "degc", "%", "v", "mv", "n", "count"}


def time_unit(text: str) -> str | None:
    """The unit of time a word stands for, or None."""
    return _TIME_UNITS.get(text.strip().strip(".").casefold())


def split_name(name: str) -> tuple[str, str]:
    """(label, unit as written) of a header cell such as `Vacuum (mmHg)`, `p/kPa`, `vacuum_kPa`, `t in ms`."""
    match = _BRACKETED.match(name)
    if match:
        label, inner = f"{match[1]} {match[3]}".strip(), match[2].strip()
        if not _is_unit(inner):
            before = _TAILED.match(label)
            if before and _is_unit(before[2]):
                return f"{before[1].strip()} {inner}", before[2].strip()
        return label, inner
    match = _TAILED.match(name)
    if match and (_is_unit(match[2]) or _CLOCK_FORM.fullmatch(match[2])):
        return match[1].strip(), match[2].strip()
    if unit_named(name) or time_unit(name):
        return name, name
    return name.strip(), ""
