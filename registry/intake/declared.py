"""What was said about a file, and what is usual for its gauge, as the reader takes both."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from registry.intake.provenance import READING_KEYS, Provenance
from registry.models import Gauge, GaugeReading, Run
from registry.waveform import Declared

NOTHING = Declared()


def declared_in(said: Provenance) -> Declared:
    """Return what an upload's provenance says about its file."""
    return Declared(
        zero_offset_mmhg=said.zero_offset,
        rate_hz=said.rate_hz,
        unit=said.unit or None,
        vacuum_column=said.vacuum_column or None,
        sign=said.sign or None,
        side=said.side,
    )


def declared_of(run: Run) -> Declared:
    """Return what was said about a stored run's file when it was uploaded."""
    said = run.provenance
    return Declared(
        zero_offset_mmhg=run.zero_offset_mmhg,
        rate_hz=said.get("rate_hz"),
        unit=said.get("unit"),
        vacuum_column=said.get("vacuum_column"),
        sign=said.get("sign"),
        side=said.get("side"),
    )


def usual_of(gauge: Gauge | None) -> Declared:
    """Return what is usual for a gauge now; nothing for none."""
    reading: GaugeReading | None = getattr(gauge, "reading", None)
    if reading is None:
        return NOTHING
    return Declared(**{name: getattr(reading, name) or None for name in READING_KEYS})


def usual_at_upload(run: Run) -> Declared:
    """Return what was usual for the gauge when a stored run came."""
    return Declared(**(run.usual or {}))


def as_kept(usual: Declared) -> dict[str, Any] | None:
    """Return what was usual as it is kept beside a run: what is said of it, None for nothing."""
    return said_of(usual) or None


def said_of(declared: Declared) -> dict[str, Any]:
    """Return what is said, without what is not."""
    values: Mapping[str, Any] = {field.name: getattr(declared, field.name) for field in fields(declared)}
    return {name: value for name, value in values.items() if value is not None}
