"""Which column is time, which is vacuum, and in what units."""

import re
from dataclasses import dataclass

from registry.waveform.types import Declared, ReadError
from registry.waveform.units import unit_named

from .layout import Layout
from .words import TIME_SCALES, split_name, time_unit

_TIME = re.compile(
    r"(?:^|[^a-z])(?:time|zeit|uhrzeit|elapsed|timestamp|datetime|seconds?|secs?|millis|temps|tiempo|tempo|clock|t|ms)"
    r"(?:$|[^a-z])"
)
_DATE = re.compile(r"^(?:date|datum|fecha|data|day|tag)$")
_COUNT = re.compile(
    r"^(?:#|n|i|no\.?|nr\.?|num|number|idx|index|samples?|sample (?:no\.?|number|index)|count|counter"
    r"|record|scan|point|row|messpunkt|lfd\.? ?nr\.?)$"
)
_VACUUM = re.compile(
    r"vac|vakuum|unterdruck|vide|vuoto|suction|pressure|press|druck|pression|presi|^p$|(?:^|[^a-z])p(?:$|[^a-z])"
)
_OTHER = re.compile(
    r"temp|humid|batt|ambient|baro|atmos|volt|current|flow|alt|speed|marker|event|status|room|weight|rpm"
)


@dataclass(frozen=True)
class Columns:
    """Positions (None for no time column), what the time column holds, labels and units as words."""

    time: int | None
    time_kind: str
    time_name: str | None
    time_unit: str | None
    vacuum: int
    vacuum_name: str
    vacuum_unit: str
    unit_basis: str
    rate_hz: float | None
    started: str | None


def choose(layout: Layout, declared: Declared) -> Columns:
    """Assign the columns.

    ReadError: no_vacuum_column, ambiguous_columns, unit_unknown, units_disagree, rate_unknown.
    """
    labels = [split_name(name) for name in layout.names] or [("", "")] * len(layout.kinds)
    if layout.units:
        labels = [(label, unit or below) for (label, unit), below in zip(labels, layout.units, strict=True)]
    time, kind = _time_column(layout, labels)
    vacuum = _vacuum_column(layout, labels, time)
    unit, basis = _vacuum_unit(labels[vacuum][1], layout, declared)
    rate = declared.rate_hz if declared.rate_hz is not None else _rate_in(layout.preamble)
    if rate is None and kind in {"count", "none"}:
        raise ReadError(
            "rate_unknown",
            "The file holds no times and nothing says how often the gauge was read.",
            layout.header_line,
            "Add a time column, a line such as 'sample rate: 100 Hz', or declare the rate.",
        )
    return Columns(
        time,
        kind,
        layout.names[time] if layout.names and time is not None else None,
        None if time is None else time_unit(labels[time][1]),
        vacuum,
        layout.names[vacuum] if layout.names else f"column {vacuum + 1}",
        unit,
        basis,
        rate,
        _started_in(layout.preamble),
    )


def _time_column(layout: Layout, labels: list[tuple[str, str]]) -> tuple[int | None, str]:
    """(position, kind): 'clock', 'number' (in a unit of time), 'count' (sample numbers) or 'none'."""
    clocks = [index for index, kind in enumerate(layout.kinds) if kind == "clock"]
    if clocks:
        return clocks[0], "clock"
    numbers = [index for index, kind in enumerate(layout.kinds) if kind == "number"]
    for index in numbers:
        label, unit = labels[index]
        if time_unit(unit) or (
            not unit and _TIME.search(label.casefold()) and not _VACUUM.search(label.casefold())
        ):
            return index, "number"
    for index in numbers:
        if _COUNT.match(labels[index][0].casefold().replace("_", " ")) and len(numbers) > 1:
            return index, "count"
    if not layout.names and len(numbers) == 2:
        return numbers[0], "number"
    return None, "none"


def _vacuum_column(layout: Layout, labels: list[tuple[str, str]], time: int | None) -> int:
    scored = []
    for index, kind in enumerate(layout.kinds):
        label, unit = labels[index]
        if index == time or kind not in {"number", "gap"} or _OTHER.search(label.casefold()):
            continue
        if _COUNT.match(label.casefold()) or time_unit(unit):
            continue
        named = bool(_VACUUM.search(label.casefold()))
        measured = unit_named(unit) is not None
        if unit and not measured and not named:
            continue
        scored.append((2 * named + 3 * measured + (kind == "number"), index))
    if not scored:
        raise ReadError(
            "no_vacuum_column",
            "No column of vacuum was found.",
            layout.header_line,
            "Name the column with its unit, for instance Vacuum (mmHg).",
        )
    best = max(score for score, _ in scored)
    chosen = [index for score, index in scored if score == best]
    if len(chosen) > 1:
        names = ", ".join(layout.names[index] if layout.names else str(index + 1) for index in chosen)
        raise ReadError(
            "ambiguous_columns",
            f"Several columns could be the vacuum: {names}.",
            layout.header_line,
            "Keep one vacuum column a file; measure each side in a file of its own.",
        )
    return chosen[0]


def _vacuum_unit(written: str, layout: Layout, declared: Declared) -> tuple[str, str]:
    """(unit, where it was found): header, unit row, preamble or declaration."""
    wanted = None
    if declared.unit is not None:
        wanted = unit_named(declared.unit)
        if wanted is None:
            raise ReadError(
                "unit_unknown", f"The declared unit {declared.unit!r} is not known.", hint=_UNITS_HINT
            )
    found = unit_named(written)
    basis = "unit row" if layout.units else "header"
    if found is None and not written:
        found, basis = _unit_in(layout.preamble), "preamble"
    if found is None:
        if wanted is None:
            said = (
                f"The unit {written!r} is not known."
                if written
                else "Nothing says in which unit the vacuum is."
            )
            raise ReadError("unit_unknown", said, layout.header_line, _UNITS_HINT)
        return wanted, "declared"
    if wanted is not None and wanted != found:
        raise ReadError(
            "units_disagree",
            f"The file says {found}, the declaration says {wanted}.",
            layout.header_line,
            "Correct one of the two.",
        )
    return found, basis


_UNITS_HINT = "Use mmHg, kPa, hPa, mbar, inHg, cmH2O, psi, Pa or bar, best in the header: Vacuum (mmHg)."


def _unit_in(preamble: tuple[tuple[str, str], ...]) -> str | None:
    for key, value in preamble:
        if "unit" in key or "einheit" in key or _VACUUM.search(key):
            for word in (value, *re.split(r"[\s,;=:()\[\]]+", value)):
                if word and unit_named(word):
                    return unit_named(word)
    return None


def _rate_in(preamble: tuple[tuple[str, str], ...]) -> float | None:
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


def _started_in(preamble: tuple[tuple[str, str], ...]) -> str | None:
    for key, value in preamble:
        if re.search(r"start|date|recorded|begin|datum", key):
            match = re.search(r"\d{4}-\d\d-\d\d(?:[T ]\d\d:\d\d(?::\d\d)?)?", value)
            if match:
                return match[0]
    return None
