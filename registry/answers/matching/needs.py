"""What a setting has to do: ranges as people write them, metric by metric."""

import re
from collections.abc import Mapping

from registry.errors import Fault, Invalid
from registry.statistics.matching import Need
from registry.waveform.editions import CURRENT_EDITION, edition_of

ALIASES = {"rate": "cycle_rate", "vacuum": "peak_vacuum"}
_NUMBER = r"-?\d{1,9}(?:\.\d{1,9})?"
_DASHED = re.compile(rf"\s*({_NUMBER})\s*(?:-|\u2013|\.{{3}}|to|\u2026)\s*({_NUMBER})\s*")
_WITH_UNIT = re.compile(r"\d\s*(?!to\b)([^\W\d_][^\d\s.]*|%)")
_KNOWN_UNITS = {"1": "shares of 1", "mmHg": "mmHg (1 kPa is 7.5 mmHg)"}
_RANGE = re.compile(rf"\s*({_NUMBER})?\s*\.\.\s*({_NUMBER})?\s*")


def chosen_needs(said: Mapping[str, str]) -> dict[str, Need]:
    """Return the need of each metric from ranges by metric or alias: `70..`, `200..240`, `..30`.

    Raises Invalid on the field of a range that cannot be read or that nothing meets.
    """
    needs: dict[str, Need] = {}
    for field, text in said.items():
        metric = ALIASES.get(field, field)
        if metric in needs:
            raise Invalid(
                f"{metric} is asked for twice",
                hint=f"Give {' or '.join(of for of in said if ALIASES.get(of, of) == metric)}, not both.",
                faults=(Fault("is asked for twice", field=field),),
            )
        needs[metric] = _need(field, text)
    return needs


def told(need: Need) -> str:
    """A need as people write it."""
    ends = ["" if end is None else f"{end:g}" for end in (need.low, need.high)]
    return "..".join(ends)


def in_full(need: Need) -> str:
    """A need in words: "of at least 70", "of 200 to 240"."""
    if need.low is not None and need.high is not None:
        return f"of {need.low:g} to {need.high:g}"
    return f"of at least {need.low:g}" if need.low is not None else f"of at most {need.high:g}"


def _need(field: str, text: str) -> Need:
    found = _RANGE.fullmatch(text)
    low, high = (float(end) if end else None for end in found.groups()) if found else (None, None)
    if low is None and high is None:
        raise _unread(field, text)
    if low is not None and high is not None and low > high:
        raise _unread(field, text, "its lower end is above its upper")
    return Need(low, high)


def _unread(field: str, text: str, why: str = "it is not a range") -> Invalid:
    return Invalid(
        f"'{text.strip()[:40]}' cannot be asked of {field}: {why}",
        hint=f"{_slip(field, text)}Write 70.. for at least, ..30 for at most, 200..240 for between.",
        faults=(Fault(why, field=field),),
    )


def _slip(field: str, text: str) -> str:
    """What is amiss with a range that people write another way, and how it is written here."""
    unit = _WITH_UNIT.search(text)
    if unit:
        metric = edition_of(CURRENT_EDITION).metrics.get(ALIASES.get(field, field))
        plain = f", in {_KNOWN_UNITS.get(metric.unit, metric.unit)}" if metric else ""
        return f"Give numbers alone{plain}, without '{unit[1]}'. "
    if "," in text:
        return "Decimals come after a point, as in 60.5. "
    dashed = _DASHED.fullmatch(text)
    return f"Write two points between both ends, as in {dashed[1]}..{dashed[2]}. " if dashed else ""
