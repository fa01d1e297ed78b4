"""What is usual for a gauge's files, kept once so that the next upload needs no thought."""

from collections.abc import Callable, Mapping
from typing import Any

from registry.errors import Fault, Invalid, NotFound
from registry.intake.provenance import READING_KEYS
from registry.models import Gauge, GaugeReading, Operator


def keep_reading(code: str, said: Mapping[str, Any], operator: Operator) -> tuple[GaugeReading, bool]:
    """Keep how files of a gauge of the operator's clinic are read; returns that and whether it is new.

    `said` holds any of unit, sign, rate_hz, time_unit, time_column and vacuum_column, at least one; what it
    leaves out is no longer kept. Stored runs keep their meaning: each has what was usual when it came. Raises
    NotFound for a gauge nobody declared, Invalid naming every field at fault.
    """
    gauge = _own_gauge(code, operator)
    values = _understand(said)
    values["saved_by"] = operator
    return GaugeReading.objects.update_or_create(gauge=gauge, defaults=values)


def reading_of(code: str, operator: Operator) -> GaugeReading:
    """Return what is kept for a gauge of the operator's clinic. Raises NotFound when nothing is."""
    gauge = _own_gauge(code, operator)
    reading: GaugeReading | None = getattr(gauge, "reading", None)
    if reading is None:
        raise NotFound(
            f"Nothing is kept for gauge {gauge.code}",
            hint="Measure one of its files and keep how that was read: vacuary measure FILE --keep-for CODE.",
        )
    return reading


def forget_reading(code: str, operator: Operator) -> None:
    """Keep nothing for a gauge any more. Raises NotFound for a gauge nobody declared."""
    GaugeReading.objects.filter(gauge=_own_gauge(code, operator)).delete()


def _own_gauge(code: str, operator: Operator) -> Gauge:
    gauges = Gauge.objects.select_related("reading__saved_by")
    gauge = gauges.filter(clinic=operator.clinic_id, code__iexact=code).first()
    if gauge is None:
        raise NotFound(
            f"Your clinic has declared no gauge '{code[:40]}'",
            hint="Declare it first: PUT /api/v1/gauges/CODE, or vacuary gauge declare.",
        )
    return gauge


def _understand(said: Mapping[str, Any]) -> dict[str, Any]:
    faults = [Fault("unknown key", field=str(key)) for key in said if key not in READING_KEYS]
    values: dict[str, Any] = {}
    for key, read in READING_KEYS.items():
        values[key] = None if key == "rate_hz" else ""
        value = said.get(key)
        if value is None or value == "":
            continue
        values[key] = _read(key, read, value, faults)
    if not faults and not any(values.values()):
        faults.append(Fault(f"say at least one of {', '.join(READING_KEYS)}"))
    if faults:
        raise Invalid(
            "; ".join(
                f"{fault.field}: {fault.message}" if fault.field else fault.message for fault in faults
            ),
            hint="Correct what is named; nothing was changed.",
            faults=tuple(faults),
        )
    return values


def _read(key: str, read: Callable[[Any], Any], value: Any, faults: list[Fault]) -> Any:
    try:
        return read(value)
    except ValueError as error:
        faults.append(Fault(str(error), field=key))
        return None
