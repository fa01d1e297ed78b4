"""The closed list of provenance keys: where a trace came from, and nothing about a client.

Values may come as JSON numbers or as the text of a spreadsheet cell; an empty cell is an absent key.
"""

import hashlib
import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from registry.errors import Fault, Invalid, UnknownProvenanceKey
from registry.models import Operator
from registry.models.levels import level_text
from registry.models.serials import bare, check_serial
from registry.plaintext import is_name
from registry.waveform.units import PASCALS, unit_named

SIGNS = ("positive", "negative", "absolute")
RATES_HZ = (0.1, 100_000.0)


@dataclass(frozen=True)
class Provenance:
    """What was said of a run, understood. Lengths in mm, volumes in mL, pressures in mmHg, heights in m."""

    pump_model: str
    serial: str
    mode: str
    level: str
    revision: str | None = None
    firmware: str = ""
    programme: str = ""
    flange_mm: float | None = None
    side: str | None = None
    protector: str = ""
    valve: str = ""
    tubing: str = ""
    load_ml: float | None = None
    gauge: str = ""
    operator: str | None = None
    recorded_at: datetime | None = None
    power: tuple[str, float | None] = ("", None)
    elevation_m: float | None = None
    ambient_kpa: float | None = None
    zero_offset: float | None = None
    unit: str = ""
    rate_hz: float | None = None
    vacuum_column: str = ""
    sign: str = ""
    note: str = ""

    def as_said(self) -> dict[str, Any]:
        """The statement as JSON: understood values under the keys they came by, absent keys left out."""
        source, charge = self.power
        said = asdict(self) | {
            "power": source if charge is None else f"{source} {charge:g}",
            "recorded_at": self.recorded_at.isoformat() if self.recorded_at else None,
        }
        return {key: value for key, value in said.items() if value not in (None, "")}

    def canonical(self, operator: Operator) -> bytes:
        """The same bytes for the same statement, however names, numbers, blanks and dashes were written."""
        said = self.as_said()
        names = {key: str(said[key]).casefold() for key in _NAMES if key in said}
        meant = {
            "serial": bare(self.serial),
            "operator": self.operator or operator.pseudonym,
            "side": self.side or "single",
        }
        return json.dumps(said | names | meant, sort_keys=True).encode()

    def identity(self, operator: Operator, trace_digest: str) -> str:
        """The digest under which a run of this statement and trace is known (hexadecimal SHA-256)."""
        clinic = operator.clinic.code
        parts = (clinic.encode(), trace_digest.encode(), self.canonical(operator))
        return hashlib.sha256(b"\0".join(parts)).hexdigest()


def understand(said: Mapping[str, Any], *, partial: bool = False) -> Provenance:
    """Check `said` key by key and return it understood; `partial` leaves absent needed keys empty.

    Raises UnknownProvenanceKey for keys outside the list, else Invalid naming every key at fault.
    """
    unknown = sorted(set(said) - set(KEYS))
    if unknown:
        raise UnknownProvenanceKey(
            f"Unknown provenance key: {', '.join(unknown)}",
            hint=f"Known keys: {', '.join(KEYS)}. Nothing about a client may enter the registry.",
            faults=tuple(Fault("unknown key", field=key) for key in unknown),
        )
    values, faults = _read_all(said)
    wrong = {fault.field for fault in faults}
    missing = [key for key in REQUIRED if key not in values and key not in wrong]
    if partial:
        values |= dict.fromkeys(missing, "")
    else:
        faults += [Fault("is needed", field=key) for key in missing]
    if "elevation_m" in values and "ambient_kpa" in values:
        faults.append(Fault("give either elevation_m or ambient_kpa, not both", field="ambient_kpa"))
    if faults:
        raise Invalid(
            "; ".join(f"{f.field}: {f.message}" for f in faults),
            hint="Correct the keys named and send the run again; nothing was stored.",
            faults=tuple(faults),
        )
    return Provenance(**values)


def _read_all(said: Mapping[str, Any]) -> tuple[dict[str, Any], list[Fault]]:
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for key, value in said.items():
        if value is None or (isinstance(value, str) and not value.strip()):
            continue
        try:
            values[key] = KEYS[key](value)
        except ValueError as error:
            faults.append(Fault(str(error), field=key))
    return values, faults


def _text(longest: int) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise ValueError("must be text")
        text = " ".join(str(value).split())
        if len(text) > longest:
            raise ValueError(f"must be at most {longest} characters")
        if not is_name(text):
            raise ValueError("must be printable text")
        return text

    return read


def _folded(longest: int) -> Callable[[Any], str]:
    """Names of parts and programmes are one whatever their capitals, so they are kept in small letters."""
    read = _text(longest)
    return lambda value: read(value).lower()


def _choice(*choices: str) -> Callable[[Any], str]:
    def read(value: Any) -> str:
        word = str(value).strip().lower()
        if word not in choices:
            raise ValueError(f"must be one of {', '.join(choices)}")
        return word

    return read


def _number(low: float, high: float) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        try:
            number = math.nan if isinstance(value, bool) else float(value)
        except (TypeError, ValueError, OverflowError):
            number = math.nan
        if not low <= number <= high:
            raise ValueError(f"must be a number from {low:g} to {high:g}")
        return number

    return read


def _level(value: Any) -> str:
    return level_text(_text(20)(value))


def _serial(value: Any) -> str:
    text = _text(60)(value)
    wrong = check_serial(text)
    if wrong:
        raise ValueError(f"{wrong}; type it from the pump's label")
    return text


def _power(value: Any) -> tuple[str, float | None]:
    match = re.fullmatch(r"(mains|battery)(?:\s+(\d{1,3}(?:\.\d+)?)\s*%?)?", str(value).strip().lower())
    charge = float(match[2]) if match and match[2] else None
    if match is None or (charge is not None and (match[1] == "mains" or charge > 100)):
        raise ValueError('must be "mains", "battery" or "battery" with its charge in per cent: "battery 80"')
    return match[1], charge


def _moment(value: Any) -> datetime:
    """ISO 8601; a time without a zone is taken as UTC."""
    try:
        moment = datetime.fromisoformat(str(value).strip())
    except ValueError:
        raise ValueError("must be a time as in 2026-03-02T14:05 (ISO 8601)") from None
    moment = moment if moment.tzinfo else moment.replace(tzinfo=UTC)
    if not moment.year >= 2000 or moment > datetime.now(UTC) + timedelta(days=1):
        raise ValueError("lies before the year 2000 or in the future")
    return moment.astimezone(UTC)


def _unit(value: Any) -> str:
    text = _text(40)(value)
    unit = unit_named(text)
    if unit is None:
        raise ValueError(f"must be a unit of pressure: {', '.join(PASCALS)}")
    return unit


KEYS: dict[str, Callable[[Any], Any]] = {
    "pump_model": _text(120),
    "serial": _serial,
    "revision": _text(40),
    "firmware": _text(40),
    "mode": _choice("stimulation", "expression"),
    "programme": _folded(40),
    "level": _level,
    "flange_mm": _number(5, 60),
    "side": _choice("single", "left", "right"),
    "protector": _folded(60),
    "valve": _folded(60),
    "tubing": _folded(60),
    "load_ml": _number(0, 2000),
    "gauge": _text(40),
    "operator": _text(60),
    "recorded_at": _moment,
    "power": _power,
    "elevation_m": _number(-430, 6000),
    "ambient_kpa": _number(45, 110),
    "zero_offset": _number(-100, 100),
    "unit": _unit,
    "rate_hz": _number(*RATES_HZ),
    "vacuum_column": _text(200),
    "sign": _choice(*SIGNS),
    "note": _text(500),
}
# What may be kept for a gauge, see `intake.readings`; the first four are the provenance keys of that name.
READING_KEYS: dict[str, Callable[[Any], Any]] = {
    **{key: KEYS[key] for key in ("unit", "sign", "rate_hz", "vacuum_column")},
    "time_unit": _text(20),
    "time_column": _text(200),
}
# Found whatever their capitals, so capitals make no other run.
_NAMES = ("pump_model", "revision", "gauge", "vacuum_column")
REQUIRED = ("pump_model", "serial", "mode", "level")
