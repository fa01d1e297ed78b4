"""Declare a clinic's gauge, once and again when something about it changes."""

import re
from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pghistory
from django.db import transaction

from registry.errors import Fault, Invalid
from registry.intake.quantities import (
    DEEPEST_MMHG,
    SHALLOWEST_MMHG,
    Accuracy,
    read_accuracy,
    read_pressure,
    read_range,
)
from registry.models import Gauge, GaugeCalibration, Operator
from registry.plaintext import is_name

_KEYS = ("gauge_model", "range", "resolution", "accuracy", "calibrations")
_CALIBRATION_KEYS = ("on", "offset", "gain", "uncertainty", "source")
# A gauge coarser than this cannot tell one pump from another; it is rather a slip of the pen
# (common practice, no published source).
_COARSEST = 0.1
_WIDEST = 0.25
_OLDEST = date(2000, 1, 1)


def declare_gauge(code: str, said: Mapping[str, Any], operator: Operator) -> tuple[Gauge, bool]:
    """Declare the gauge `code` of the operator's clinic; returns it and whether it is new.

    `said` holds gauge_model, range ("0..400 mmHg"), resolution ("0.1 mmHg"), accuracy ("0.5 % FS") and
    optional calibrations, each {"on": date, "offset": mmHg, "gain", "uncertainty": mmHg, "source"}. A
    calibration of a day already known replaces that one. A code names the same gauge in any capitals and
    keeps its first spelling. Raises Invalid naming every field at fault.
    """
    columns, calibrations = _understand(code, said)
    columns["declared"] = dict(said)
    new = {**columns, "clinic": operator.clinic, "code": code}
    with transaction.atomic(), pghistory.context(operator=operator.handle):
        gauge, is_new = Gauge.objects.update_or_create(
            clinic=operator.clinic, code__iexact=code, defaults=columns, create_defaults=new
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
    ends = reader.read("range", lambda text: _usable(read_range(_short_text(text))))
    low, high = ends or (0.0, DEEPEST_MMHG)
    scale = max(high - low, abs(high))
    resolution = reader.read("resolution", lambda text: _fine(read_pressure(_short_text(text)), scale))
    accuracy = reader.read("accuracy", lambda text: _close(read_accuracy(_short_text(text), scale), scale))
    calibrations = reader.read("calibrations", lambda rows: _calibrations(rows, reader.faults), default=[])
    if reader.faults:
        raise Invalid(
            "; ".join(f"{f.field}: {f.message}" for f in reader.faults),
            hint="Correct the fields named and declare the gauge again; nothing was changed.",
            faults=tuple(reader.faults),
        )
    columns = {
        "gauge_model": model,
        "range_low_mmhg": low,
        "range_high_mmhg": high,
        "resolution_mmhg": resolution,
        "accuracy_mmhg": accuracy.mmhg,
        "accuracy_fraction": accuracy.fraction,
    }
    return columns, calibrations


def _calibrations(rows: Any, faults: list[Fault]) -> list[tuple[date, dict[str, Any]]]:
    if not isinstance(rows, list) or len(rows) > 200 or not all(isinstance(row, Mapping) for row in rows):
        raise ValueError("must be a list of at most 200 calibrations")
    found: list[tuple[date, dict[str, Any]]] = []
    for index, row in enumerate(rows):
        reader = _Reader(row, _CALIBRATION_KEYS, prefix=f"calibrations[{index}].")
        day = reader.read("on", _past_day)
        values = {
            "offset_mmhg": reader.read("offset", lambda v: _between(v, -100, 100), default=0.0),
            "gain": reader.read("gain", lambda v: _between(v, 0.5, 2), default=1.0),
            "uncertainty_mmhg": reader.read("uncertainty", lambda v: _between(v, 0, 100)),
            "source": reader.read("source", _short_text),
        }
        if day is not None and day in {earlier for earlier, _ in found}:
            reader.faults.append(Fault("is a day that comes twice", field=f"calibrations[{index}].on"))
        faults += reader.faults
        if not reader.faults:
            found.append((day, values))
    return found


def _short_text(value: Any) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > 120 or not is_name(value):
        raise ValueError("must be a text of 1 to 120 characters")
    return value.strip()


def _usable(ends: tuple[float, float]) -> tuple[float, float]:
    """A vacuum is never deeper than the ambient pressure; the pressure side of a compound gauge may be."""
    low, high = ends
    if not DEEPEST_MMHG >= high >= SHALLOWEST_MMHG:
        raise ValueError(
            f"reaches {high:.4g} mmHg of vacuum; it must reach {SHALLOWEST_MMHG:g} and cannot pass "
            f'{DEEPEST_MMHG:g}: give the vacuum side, as in "0..400 mmHg" or "-100..0 kPa"'
        )
    if low < -DEEPEST_MMHG:
        raise ValueError(f"reaches {-low:.4g} mmHg above ambient; give the vacuum side only")
    return ends


def _fine(resolution: float, scale: float) -> float:
    if not 0 < resolution <= _COARSEST * scale:
        raise ValueError(f"must be above zero and at most {_COARSEST:.0%} of the range")
    return resolution


def _close(accuracy: Accuracy, scale: float) -> Accuracy:
    if not (accuracy.fraction <= _WIDEST and accuracy.mmhg + accuracy.fraction * scale <= _WIDEST * scale):
        raise ValueError(f"must be at most {_WIDEST:.0%} of the range")
    return accuracy


def _past_day(value: Any) -> date:
    """A day that has begun somewhere on earth."""
    day = date.fromisoformat(str(value))
    if not _OLDEST <= day <= datetime.now(UTC).date() + timedelta(days=1):
        raise ValueError("lies before the year 2000 or in the future")
    return day


def _between(value: Any, low: float, high: float) -> float:
    if isinstance(value, bool) or value is None:
        raise ValueError(f"must be a number from {low:g} to {high:g}")
    number = float(value)
    if not low <= number <= high:
        raise ValueError(f"must be a number from {low:g} to {high:g}")
    return number
