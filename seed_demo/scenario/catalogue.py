"""The declared catalogue, and the order its serial schemes give to serials."""

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

CATALOGUE = Path(__file__).parents[1] / "catalogue.toml"


@cache
def catalogue() -> dict[str, dict[str, Any]]:
    """The pump models of catalogue.toml, by name."""
    return {row["name"]: row for row in tomllib.loads(CATALOGUE.read_text())["pump_model"]}


@cache
def place(pump_model: str, serial: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Series and place of a serial; places of one series compare. ValueError when no scheme reads it.

    Ordering parts have a fixed width in every scheme here, so they compare as text.
    """
    for scheme in catalogue()[pump_model]["serial_scheme"]:
        match = re.fullmatch(scheme["pattern"], serial)
        if match:
            parts = match.groupdict()
            series = tuple(v for k, v in parts.items() if k not in scheme["order"])
            return series, tuple(parts[k] for k in scheme["order"])
    raise ValueError(f"no serial scheme of {pump_model} reads {serial}")


def within(pump_model: str, serial: str, first: str, last: str) -> bool:
    """Whether a serial lies in the span from `first` to `last`, both included."""
    (series, at), (low_series, low), (_, high) = (place(pump_model, s) for s in (serial, first, last))
    return series == low_series and low <= at <= high
