"""Bytes of a trace file to seconds and mmHg of vacuum."""

from dataclasses import dataclass, replace

import numpy as np

from registry.waveform.findings import finding
from registry.waveform.types import (
    NOTHING_DECLARED,
    Channel,
    Declared,
    Finding,
    Flags,
    ReadError,
    Reading,
    Understood,
)
from registry.waveform.units import mmhg_per

from .clock import Clock, to_seconds
from .columns import Columns, channels, choose, sides_in
from .dashes import over_range_dashes
from .layout import NAMES, Layout, layout_and_cells
from .payload import Payload, unpack
from .sign import Sign, tell_sign
from .table import parse
from .untimed import with_times_or_none

FEWEST_SAMPLES = 10


@dataclass(frozen=True, eq=False)
class Source:
    """A file unpacked and laid out, ready to be read by any of its channels."""

    payload: Payload
    layout: Layout


def opened(data: bytes) -> Source:
    """Unpack a file and find its layout. ReadError as `read`."""
    payload = unpack(data)
    layout, text = layout_and_cells(payload.text)
    return Source(replace(payload, text=text), layout)


def read(data: bytes, declared: Declared = NOTHING_DECLARED, usual: Declared = NOTHING_DECLARED) -> Reading:
    """Read a trace file: text table, gzip or not, in any of the ways loggers write them.

    What `declared` says must not be contradicted by the file; `usual`, kept for the gauge by
    `Understood.as_usual`, serves where neither file nor declaration says, and gives way with a note where
    the file says otherwise. Zero and side are never taken from `usual`.

    Raises ReadError with a stable code, the line where one is at fault, and what to do about it.
    Bounds: 20 MiB after unpacking, 2 million samples.
    """
    return read_channel(opened(data), declared, usual)


def channels_of(
    data: bytes, declared: Declared = NOTHING_DECLARED, usual: Declared = NOTHING_DECLARED
) -> tuple[Channel, ...]:
    """The vacuum columns of a file: left and right where it tells them, else the one that `read` would take.

    A declared `vacuum_column` is the only channel; a declared side does not hide the other one. Raises what
    `read` raises about the file's text and its columns; values are not looked at.
    """
    return channels(opened(data).layout, declared, usual)


def read_sides(
    data: bytes, declared: Declared = NOTHING_DECLARED, usual: Declared = NOTHING_DECLARED
) -> tuple[Reading, Reading]:
    """(left, right) of a file that holds both sides of a pump. ReadError as `read`, and sides_missing."""
    source = opened(data)
    if not sides_in(source.layout, declared):
        raise ReadError(
            "sides_missing",
            "The file does not hold two columns that tell left from right.",
            source.layout.header_line,
            "Name the columns left and right, or measure each side by itself.",
        )
    left, right = (read_channel(source, replace(declared, side=side), usual) for side in ("left", "right"))
    return left, right


def read_pair(
    data: bytes, declared: tuple[Declared, Declared], usual: tuple[Declared, Declared]
) -> tuple[Reading, Reading]:
    """(left, right) of a file by what was said for each side. ReadError as `read`, and ambiguous_columns."""
    source = opened(data)
    left, right = (
        read_channel(source, replace(said, side=side), kept)
        for side, said, kept in zip(("left", "right"), declared, usual, strict=True)
    )
    if left.understood.vacuum_column == right.understood.vacuum_column:
        raise ReadError(
            "ambiguous_columns",
            "Both sides are said to be in the same column.",
            source.layout.header_line,
            "Declare another vacuum_column for each side.",
        )
    return left, right


def read_channel(source: Source, declared: Declared, usual: Declared) -> Reading:
    """Read the channel that is meant; see `read`."""
    layout = source.layout
    columns = choose(layout, declared, usual)
    table = parse(source.payload.text, layout, columns.time, columns.vacuum)
    count = int(np.isfinite(table.vacuum).sum())
    if count < FEWEST_SAMPLES:
        raise ReadError(
            "too_short",
            f"The file holds {count} samples of vacuum.",
            hint="Record for 30 seconds or longer at 50 samples a second or more.",
        )
    columns = with_times_or_none(table, columns, layout)
    clock = to_seconds(table, columns)
    shown = table.vacuum * mmhg_per(columns.vacuum_unit)
    sign = tell_sign(shown, columns.vacuum_name, declared, usual)
    vacuum = shown if sign.factor > 0 else -shown
    over = table.over_range | over_range_dashes(vacuum, table.dashed)
    notes = (*clock.notes, *sign.notes, *_over_range(over), *_unlike_usual(columns, clock, sign))
    understood = _understood(source, columns, clock, sign)
    return Reading(clock.seconds, vacuum, over, understood, sign.factor, notes, clock.origin_s)


def _over_range(over: Flags) -> tuple[Finding, ...]:
    count = int(over.sum())
    return (finding("over_range_samples", count=count),) if count else ()


def _unlike_usual(columns: Columns, clock: Clock, sign: Sign) -> tuple[Finding, ...]:
    unlike = [word for word in (*columns.unlike, clock.unlike, sign.unlike) if word]
    return (finding("unlike_usual", what="; ".join(unlike)[:400]),) if unlike else ()


def _understood(source: Source, columns: Columns, clock: Clock, sign: Sign) -> Understood:
    layout, seconds = source.layout, clock.seconds
    duration = float(seconds[-1])
    return Understood(
        encoding=source.payload.encoding,
        compression=source.payload.compression,
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
        side=columns.side,
        vacuum_column_basis=columns.vacuum_basis,
        time_unit_basis=columns.time_unit_basis,
        rate_basis=columns.rate_basis if clock.by_rate else "times",
        counts=sign.counts,
        sign_basis=sign.basis,
    )
