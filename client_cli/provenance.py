"""Where a trace came from: the keys the registry takes, and nothing else.

The list is closed on purpose. An unknown key is refused here and by the server, which keeps anything about
a client out of the registry.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from client_cli.text import nearest

Value = str | int | float
Provenance = dict[str, Value]


@dataclass(frozen=True)
class Key:
    """One provenance key: its name, what to write, whether a run needs it, whether it is a number."""

    name: str
    help: str
    required: bool = False
    number: bool = False


KEYS: tuple[Key, ...] = (
    Key("pump_model", "Name the pump is sold under.", required=True),
    Key("serial", "Serial number on the pump's label.", required=True),
    Key("revision", "Build, if you can see which one it is."),
    Key("firmware", "Firmware version, if the pump shows it."),
    Key("mode", "stimulation or expression.", required=True),
    Key("programme", "Programme, on pumps that have several."),
    Key("level", "Level the pump was set to.", required=True),
    Key("flange_mm", "Flange size in mm.", number=True),
    Key("side", "single, left or right; both sends a file of both sides once for each."),
    Key("protector", "Backflow protector."),
    Key("valve", "Valve."),
    Key("tubing", "Tubing."),
    Key("load_ml", "Volume of the load between pump and gauge in mL.", number=True),
    Key("gauge", "Code of your clinic's gauge."),
    Key("operator", "Your pseudonym at the clinic."),
    Key("recorded_at", "When it was recorded, such as 2026-03-01T09:30+01:00."),
    Key("power", "mains, battery, or battery with its charge, such as 'battery 80'."),
    Key("elevation_m", "Height above sea level in m (this or the ambient pressure).", number=True),
    Key("ambient_kpa", "Ambient pressure in kPa (this or the height).", number=True),
    Key("zero_offset", "What the gauge read at open air, in mmHg.", number=True),
    Key("unit", "Unit of the vacuum, if the file does not say it."),
    Key("rate_hz", "Samples a second, if the file holds no times.", number=True),
    Key("vacuum_column", "Heading or number of the column, if it is not clear which one is vacuum."),
    Key("sign", "positive, negative or absolute: how the file counts vacuum, if it is not clear."),
    Key("note", "Anything about the bench. Nothing about a client."),
)
NAMES: tuple[str, ...] = tuple(key.name for key in KEYS)
REQUIRED: tuple[str, ...] = tuple(key.name for key in KEYS if key.required)
_NUMBERS = frozenset(key.name for key in KEYS if key.number)
_DECIMAL = re.compile(r"[+-]?\d+(?:[.,]\d+)?")


def column_name(heading: str) -> str:
    """The key a heading stands for: `Pump model` and `pump-model` both mean `pump_model`."""
    return re.sub(r"[\s-]+", "_", heading.strip()).casefold()


def nearest_key(name: str, *more: str) -> str | None:
    """The known key (or one of `more`) most like this one, or None when none is close."""
    found = nearest(name, (*NAMES, *more), most=1)
    return found[0] if found else None


def typed(name: str, text: str) -> Value:
    """The text as the server expects it: a number where the key is one, also with a decimal comma.

    What does not look like a plain number goes as text, and the server says what is wrong with it.
    """
    text = text.strip()
    if name == "level":
        return int(text) if re.fullmatch(r"\d{1,9}", text) and str(int(text)) == text else text
    if name not in _NUMBERS or not _DECIMAL.fullmatch(text):
        return text
    number = float(text.replace(",", "."))
    return int(number) if number.is_integer() else number


def from_texts(texts: Mapping[str, str | None]) -> Provenance:
    """Provenance from texts by key; empty ones are left out."""
    return {name: typed(name, text) for name, text in texts.items() if text and text.strip()}


def missing(provenance: Mapping[str, Value]) -> list[str]:
    """The required keys that are not there."""
    return [name for name in REQUIRED if name not in provenance]
