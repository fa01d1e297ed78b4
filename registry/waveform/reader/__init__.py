"""Bytes of a trace file to seconds and mmHg of vacuum."""

from dataclasses import dataclass

import numpy as np

from registry.waveform.findings import finding
from registry.waveform.types import (
    NOTHING_DECLARED,
    Declared,
    Finding,
    Floats,
    ReadError,
    Reading,
    Understood,
)
from registry.waveform.units import mmhg_per

from .clock import Clock, to_seconds
from .columns import Columns, choose
from .layout import NAMES, Layout, find_layout
from .payload import Payload, unpack
from .table import Table, parse

FEWEST_SAMPLES = 10
ABSOLUTE_LOW, ABSOLUTE_HIGH = 250.0, 850.0  # mmHg: a trace wholly within is absolute pressure
UNSURE = 0.7  # of the larger excursion: a smaller one this large on the other side leaves the sign open


def read(data: bytes, declared: Declared = NOTHING_DECLARED) -> Reading:
    """Read a trace file: text table, gzip or not, in any of the ways loggers write them.

    Raises ReadError with a stable code, the line where one is at fault, and what to do about it.
    Bounds: 20 MiB after unpacking, 2 million samples.
    """
    payload = unpack(data)
    layout = find_layout(payload.text)
    columns = choose(layout, declared)
    table = parse(payload.text, layout, columns.time, columns.vacuum)
    if int(np.isfinite(table.vacuum).sum()) < FEWEST_SAMPLES:
        raise ReadError(
            "too_short",
            f"The file holds {int(np.isfinite(table.vacuum).sum())} samples of vacuum.",
            hint="Record for 30 seconds or longer at 50 samples a second or more.",
        )
    clock = to_seconds(table, columns)
    shown = table.vacuum * mmhg_per(columns.vacuum_unit)
    sign = tell_sign(shown, columns.vacuum_name, declared.zero_offset_mmhg)
    understood = _understood(payload, layout, columns, clock, sign)
    notes = (*clock.notes, *sign.notes, *_over_range(table))
    vacuum = shown if sign.factor > 0 else -shown
    return Reading(clock.seconds, vacuum, table.over_range, understood, sign.factor, notes)


def _over_range(table: Table) -> tuple[Finding, ...]:
    count = int(table.over_range.sum())
    return (finding("over_range_samples", count=count),) if count else ()


@dataclass(frozen=True)
class Sign:
    """`factor` turns shown values into vacuum (+1 or -1); `says` states what was taken."""

    factor: int
    says: str
    notes: tuple[Finding, ...] = ()


def tell_sign(shown: Floats, name: str, zero: float | None) -> Sign:
    """Which way vacuum counts in a trace in mmHg: the larger excursion from open air is vacuum.

    Where both sides are about as large the column's name decides and the trace is held.
    """
    some = shown[:: max(1, shown.size // 2000)]
    some = some[np.isfinite(some)]
    lowest, highest = (float(some.min()), float(some.max())) if some.size else (0.0, 0.0)
    if lowest > ABSOLUTE_LOW and 450.0 < highest < ABSOLUTE_HIGH:
        return Sign(-1, "absolute pressure, ambient less reading")
    lowest, highest = lowest - (zero or 0.0), highest - (zero or 0.0)
    larger, smaller = max(highest, -lowest), min(max(highest, 0.0), max(-lowest, 0.0))
    if smaller <= UNSURE * larger or larger <= 0:
        upward = highest >= -lowest
        return Sign(1, "vacuum is positive") if upward else Sign(-1, "vacuum is negative, turned")
    word = name.casefold()
    downward = "press" in word or "druck" in word.replace("unterdruck", "")
    says = "vacuum taken as negative by the column's name" if downward else "vacuum taken as positive"
    return Sign(-1 if downward else 1, says, (finding("sign_assumed"),))


def _understood(payload: Payload, layout: Layout, columns: Columns, clock: Clock, sign: Sign) -> Understood:
    seconds = clock.seconds
    duration = float(seconds[-1])
    return Understood(
        encoding=payload.encoding,
        compression=payload.compression,
        delimiter=NAMES[layout.delimiter],
        decimal={".": "point", ",": "comma"}[layout.decimal],
        header_line=layout.header_line,
        time_column=columns.time_name,
        time_unit=clock.unit,
        clock=clock.kind,
        started_at=clock.started,
        vacuum_column=columns.vacuum_name,
        vacuum_unit=columns.vacuum_unit,
        unit_basis=columns.unit_basis,
        sign=sign.says,
        rate_hz=(seconds.size - 1) / duration if duration > 0 else 0.0,
        samples=int(seconds.size),
        duration_s=duration,
    )
