"""Units and rate: from the file, else as declared, else as usual for the gauge."""

from collections.abc import Callable
from math import isfinite

from registry.waveform.types import AS_USUAL, Declared, ReadError
from registry.waveform.units import unit_named

from .headings import Headings
from .layout import Layout
from .preamble import rate_in, unit_in
from .words import time_unit

UNITS_HINT = (
    "Declare unit as mmHg, kPa, hPa, mbar, inHg, cmH2O, psi, Pa or bar, "
    "or write it in the header: Vacuum (mmHg)."
)
_TIME_HINT = "Use s, ms, us, min or h, best in the header: Time (s)."
RATES_ALIKE = 0.05  # a declared rate further off than this is contradicted

Unit = tuple[str, str, str]  # (unit, where it was found, in what it is unlike the usual or "")


def vacuum_unit(column: int, layout: Layout, headings: Headings, declared: Declared, usual: Declared) -> Unit:
    """The unit of a vacuum column. ReadError: unit_unknown, units_disagree."""
    written = headings.units[column]
    found = unit_named(written)
    basis = "unit row" if layout.units else "header"
    if found is None and not written:
        found, basis = unit_in(layout.preamble), "preamble"
    wanted = _known(declared.unit, unit_named, "unit", UNITS_HINT)
    kept = unit_named(usual.unit) if usual.unit is not None else None
    within = unit_named(headings.within[column])
    if within is not None:
        if found not in {None, within}:
            raise _cells_disagree("vacuum", str(found), within, headings)
        found, basis = within, "cells"
    if found is not None and wanted is not None and wanted != found:
        raise _units_disagree("vacuum", found, wanted, headings)
    if found is not None:
        return found, basis, _unlike("unit", found, kept)
    if wanted is not None:
        return wanted, "declared", ""
    if kept is not None and not written:
        return kept, AS_USUAL, ""
    said = f"The unit {written!r} is not known." if written else "Nothing says in which unit the vacuum is."
    raise ReadError("unit_unknown", said[:400], headings.line, UNITS_HINT)


def unit_of_time(
    column: int | None, kind: str, headings: Headings, declared: Declared, usual: Declared
) -> tuple[str | None, str, str]:
    """The unit of a time column of numbers, or None. ReadError: unit_unknown, units_disagree."""
    wanted = _known(declared.time_unit, time_unit, "unit of time", _TIME_HINT)
    if kind == "clock" and wanted is not None:
        raise _units_disagree("time", "clock times", wanted, headings)
    if column is None or kind != "number":
        return None, "values", ""
    found, within = time_unit(headings.units[column]), time_unit(headings.within[column])
    if within is not None and found != within:
        raise _cells_disagree("time", str(found), within, headings)
    kept = time_unit(usual.time_unit) if usual.time_unit is not None else None
    if found is not None and wanted is not None and wanted != found:
        raise _units_disagree("time", found, wanted, headings)
    if found is not None:
        return found, "header", _unlike("unit of time", found, kept)
    if wanted is not None:
        return wanted, "declared", ""
    return kept, AS_USUAL if kept is not None else "values", ""


def rate_of(kind: str, layout: Layout, declared: Declared, usual: Declared) -> tuple[float | None, str, str]:
    """Samples a second where something says so. ReadError: rate_unknown, rates_disagree."""
    found, wanted = rate_in(layout.preamble), _positive(declared.rate_hz)
    kept = usual.rate_hz if usual.rate_hz is not None and _is_rate(usual.rate_hz) else None
    if found is not None and wanted is not None and not alike(found, wanted):
        raise rates_disagree(found, wanted, layout.header_line)
    if found is not None:
        differs = kept is not None and not alike(found, kept)
        return found, "preamble", f"the rate is {found:g} Hz, usually {kept:g} Hz" if differs else ""
    if wanted is not None:
        return wanted, "declared", ""
    if kept is None and kind in {"count", "none"}:
        raise ReadError(
            "rate_unknown",
            "The file holds no times and nothing says how often the gauge was read.",
            layout.header_line,
            "Add a time column, a line such as 'sample rate: 100 Hz', or declare the rate.",
        )
    return kept, AS_USUAL, ""


def alike(one: float, two: float) -> bool:
    """Whether two rates are the same for practical purposes."""
    return abs(one / two - 1.0) <= RATES_ALIKE


def rates_disagree(found: float, wanted: float, line: int | None = None) -> ReadError:
    """The refusal of a declared rate that the file contradicts."""
    return ReadError(
        "rates_disagree",
        f"The file was taken at {found:.4g} samples a second; {wanted:.4g} are declared.",
        line,
        "Declare no rate where the file has times, or correct the declaration.",
    )


def _is_rate(rate: float) -> bool:
    return isfinite(rate) and 0 < rate <= 1e6


def _positive(rate: float | None) -> float | None:
    if rate is not None and not _is_rate(rate):
        raise ReadError("rate_unknown", "The declared rate is no positive number.", hint="Declare it in Hz.")
    return rate


def _known(text: str | None, named: Callable[[str], str | None], what: str, hint: str) -> str | None:
    if text is None:
        return None
    unit = named(text)
    if unit is None:
        raise ReadError("unit_unknown", f"The declared {what} {text!r} is not known."[:400], hint=hint)
    return unit


def _units_disagree(what: str, found: str, wanted: str, headings: Headings) -> ReadError:
    return ReadError(
        "units_disagree",
        f"The file gives {what} in {found}, the declaration says {wanted}.",
        headings.line,
        "Correct one of the two; where the file says it, nothing need be declared.",
    )


def _cells_disagree(what: str, above: str, within: str, headings: Headings) -> ReadError:
    return ReadError(
        "units_disagree",
        f"The heading gives {what} in {above}, the cells below it in {within}.",
        headings.line,
        "Correct the heading or the cells.",
    )


def _unlike(what: str, found: str, kept: str | None) -> str:
    return f"the {what} is {found}, usually {kept}" if kept is not None and kept != found else ""
