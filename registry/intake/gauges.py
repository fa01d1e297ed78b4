"""Declare a clinic's gauge, once and again when something about it changes."""

import math
import re
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

import pghistory
from django.db import transaction

from registry.errors import Fault, Invalid
from registry.intake.quantities import read_accuracy, read_pressure, read_range
from registry.models import Gauge, GaugeCalibration, Operator

_KEYS = ("gauge_model", "range", "resolution", "accuracy", "calibrations")
_CALIBRATION_KEYS = ("on", "offset", "gain", "uncertainty", "source")


def declare_gauge(code: str, said: Mapping[str, Any], operator: Operator) -> tuple[Gauge, bool]:
    """Declare the gauge `code` of the operator's clinic; returns it and whether it is new.

    `said` holds gauge_model, range ("0..400 mmHg"), resolution ("0.1 mmHg"), accuracy ("0.5 % FS") and
    optional calibrations, each {"on": date, "offset": mmHg, "gain", "uncertainty": mmHg, "source"}. A
    calibration of a day already known replaces that one. Raises Invalid naming every field at fault.
    """
    columns, calibrations = _understand(code, said)
    with transaction.atomic(), pghistory.context(operator=operator.handle):
        gauge, is_new = Gauge.objects.update_or_create(
            clinic=operator.clinic, code=code, defaults={**columns, "declared": dict(said)}
        )
        for day, values in calibrations:
            GaugeCalibration.objects.update_or_create(gauge=gauge, on=day, defaults=values)
    return gauge, is_new


class _Reader:
    """Reads fields one by one and gathers what is wrong, so that all of it is told at once."""

    def __init__(self, said: Mapping[str, Any], known: tuple[str, ...], prefix: str = "") -> None:
        self.said, self.prefix = said, prefix
        self.faults = [Fault("unknown key", field=prefix + key) for key in said if key not in known]

    def read(self, key: str, how: Callable[[Any], Any], default: Any = None) -> Any:
        try:
            if self.said.get(key) in (None, "") and default is not None:
                return default
            return how(self.said.get(key))
        except (ValueError, TypeError, OverflowError) as error:
            self.faults.append(Fault(str(error), field=self.prefix + key))
            return None


def _understand(
    code: str, said: Mapping[str, Any]
) -> tuple[dict[str, Any], list[tuple[date, dict[str, Any]]]]:
    reader = _Reader(said, _KEYS)
    if not re.fullmatch(r"[\w.-]{1,40}", code):
        reader.faults.append(Fault("must be 1 to 40 letters, digits, dots and dashes", field="code"))
    model = reader.read("gauge_model", _short_text)
    ends = reader.read("range", lambda text: read_range(_short_text(text)))
    resolution = reader.read("resolution", lambda text: _positive(read_pressure(_short_text(text))))
    scale = max(ends[1] - ends[0], abs(ends[1])) if ends else math.nan
    accuracy = reader.read("accuracy", lambda text: read_accuracy(_short_text(text), scale))
    calibrations = reader.read("calibrations", lambda rows: _calibrations(rows, reader.faults), default=[])
    if reader.faults:
        raise Invalid(
            "; ".join(f"{f.field}: {f.message}" for f in reader.faults),
            hint="Correct the fields named and declare the gauge again; nothing was changed.",
            faults=tuple(reader.faults),
        )
    columns = {
        "gauge_model": model,
        "range_low_mmhg": ends[0],
        "range_high_mmhg": ends[1],
        "resolution_mmhg": resolution,
        "accuracy_mmhg": accuracy.mmhg,
        "accuracy_fraction": accuracy.fraction,
    }
    return columns, calibrations


def _calibrations(rows: Any, faults: list[Fault]) -> list[tuple[date, dict[str, Any]]]:
    if not isinstance(rows, list) or len(rows) > 200 or not all(isinstance(row, Mapping) for row in rows):
        raise ValueError("must be a list of at most 200 calibrations")
    found = []
    for index, row in enumerate(rows):
        reader = _Reader(row, _CALIBRATION_KEYS, prefix=f"calibrations[{index}].")
        day = reader.read("on", lambda text: date.fromisoformat(str(text)))
        values = {
            "offset_mmhg": reader.read("offset", lambda v: _between(v, -100, 100), default=0.0),
            "gain": reader.read("gain", lambda v: _between(v, 0.5, 2), default=1.0),
            "uncertainty_mmhg": reader.read("uncertainty", lambda v: _between(v, 0, 100)),
            "source": reader.read("source", _short_text),
        }
        faults += reader.faults
        if not reader.faults:
            found.append((day, values))
    return found


def _short_text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 120 or not value.isprintable():
        raise ValueError("must be a text of 1 to 120 characters")
    return value.strip()


def _positive(value: float) -> float:
    if not value > 0:
        raise ValueError("must be above zero")
    return value


def _between(value: Any, low: float, high: float) -> float:
    if isinstance(value, bool) or value is None:
        raise ValueError(f"must be a number from {low:g} to {high:g}")
    number = float(value)
    if not low <= number <= high:
        raise ValueError(f"must be a number from {low:g} to {high:g}")
    return number
