"""Trace files in the ways loggers write them, made from arrays of seconds and mmHg."""

import gzip
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.waveform import Declared
from registry.waveform.types import NOTHING_DECLARED

Floats = NDArray[np.float64]
# Pa in one unit, apart from registry.waveform.units: NIST SP 811 (2008), appendix B.8, to its seven digits,
# and exact where the definition is short enough to write down.
PASCALS = {
    "mmHg": 133.322387415,
    "kPa": 1000.0,
    "hPa": 100.0,
    "mbar": 100.0,
    "bar": 1e5,
    "Pa": 1.0,
    "psi": 4.4482216152605 / 0.0254**2,
    "inHg": 3386.388640341,
    "cmH2O": 98.0665,
}


@dataclass(frozen=True)
class Dialect:
    """One way of writing. `time` is one of the keys of TIMES; `sign` -1 writes pressure below ambient.

    `heads` are the headings of two channels, the trace in the first and a weaker one beside it, swapped in
    the file with `last`; `between` gives each its own time column. Without `written` no unit is written above
    the numbers; with `behind` each vacuum has its unit in its own cell, `behind` lying between.
    `declared` and `usual` are what has to be said for the file to be read.
    """

    delimiter: str = ","
    decimal: str = "."
    unit: str = "mmHg"
    time: str = "s"
    sign: int = 1
    newline: str = "\n"
    encoding: str = "utf-8"
    preamble: tuple[str, ...] = ()
    unit_row: bool = False
    compress: bool = False
    digits: int = 12
    written: bool = True
    behind: str | None = None
    heads: tuple[str, str] | None = None
    other_unit: str = "mmHg"
    last: bool = False
    between: bool = False
    declared: Declared = NOTHING_DECLARED
    usual: Declared = NOTHING_DECLARED


def _elapsed(scale: float) -> Callable[[Floats, int], list[str]]:
    return lambda seconds, digits: [f"{value * scale:.{digits}f}" for value in seconds]


def _clock(
    start: float,
    *,
    hours: bool,
    date: str = "",
    zone: str = "",
    colon: str = ":",
    point: str = ".",
    most: int = 9,
) -> Callable[[Floats, int], list[str]]:
    def write(seconds: Floats, digits: int) -> list[str]:
        rows, digits = [], min(digits, most)
        for value in seconds:
            whole = (value + start) % (86400.0 if hours else 3600.0)
            minute, second = divmod(whole, 60.0)
            text = f"{second:0{digits + 3}.{digits}f}"
            if text.startswith("60"):
                minute, text = minute + 1, f"{0:0{digits + 3}.{digits}f}"
            hour, minute = divmod(int(minute), 60)
            text = text.replace(".", point)
            clock = f"{minute:02d}{colon}{text}"
            rows.append(f"{date}{f'{hour % 24:02d}{colon}' if hours else ''}{clock}{zone}")
        return rows

    return write


TIMES: dict[str, tuple[str, Callable[[Floats, int], list[str]]]] = {
    "s": ("Time (s)", _elapsed(1.0)),
    "ms": ("Time [ms]", _elapsed(1e3)),
    "min": ("Elapsed_min", _elapsed(1 / 60)),
    "mm:ss": ("Time", _clock(3590.0, hours=False)),
    "hh:mm:ss": ("Clock", _clock(86395.0, hours=True)),
    "iso": ("Timestamp", _clock(3600.0, hours=True, date="2026-03-04T")),
    "iso-zone": ("Timestamp", _clock(3600.0, hours=True, date="2026-03-04 ", zone="+02:00")),
    "iso-basic": ("Timestamp", _clock(3600.0, hours=True, date="20260304T", colon="")),
    "thousandths": ("Clock", _clock(86395.0, hours=True, point=":", most=3)),
    "dated": ("Date/Time", _clock(7200.0, hours=True, date="04/03/2026 ")),
}


def write(seconds: Floats, vacuum: Floats, dialect: Dialect = Dialect()) -> bytes:
    """The file. Values are written in the dialect's unit and sign with its digits after the decimal sign."""
    name, times = TIMES[dialect.time]
    time_digits = dialect.digits if dialect.time == "min" else min(dialect.digits, 9)
    stamps = (name, "s", times(seconds, time_digits))
    columns = [stamps]
    for head, unit, values in _channels(vacuum, dialect):
        shown = dialect.sign * values * PASCALS["mmHg"] / PASCALS[unit]
        cells = [f"{value:.{dialect.digits}g}" if np.isfinite(value) else "" for value in shown]
        if len(columns) > 1 and dialect.between:
            columns.append(stamps)
        columns.append((head, unit, cells))
    body = [cells for _, _, cells in columns]
    if dialect.decimal == ",":
        body = [[cell.replace(".", ",") for cell in cells] for cells in body]
    if dialect.behind is not None:
        tails = ["" if column is stamps else f"{dialect.behind}{column[1]}" for column in columns]
        body = [[cell and cell + tail for cell in cells] for cells, tail in zip(body, tails, strict=True)]
    rows = [dialect.delimiter.join(row) for row in zip(*body, strict=True)]
    head = _head([(head, unit) for head, unit, _ in columns], name, dialect)
    data = dialect.newline.join([*dialect.preamble, *head, *rows, ""]).encode(dialect.encoding)
    return gzip.compress(data, mtime=0) if dialect.compress else data


def _channels(vacuum: Floats, dialect: Dialect) -> list[tuple[str, str, Floats]]:
    """(heading, unit, mmHg) of each channel; the second is weaker and lags by a few samples."""
    label = "Vacuum" if dialect.sign > 0 else "Pressure"
    if dialect.heads is None:
        return [(label, dialect.unit, vacuum)]
    own = (dialect.heads[0], dialect.unit, vacuum)
    other = (dialect.heads[1], dialect.other_unit, np.roll(0.9 * vacuum, 7))
    return [other, own] if dialect.last else [own, other]


def _head(columns: list[tuple[str, str]], time: str, dialect: Dialect) -> list[str]:
    """The lines above the numbers."""
    join = dialect.delimiter.join
    if dialect.unit_row:
        return [join(head.split(" ")[0] for head, _ in columns), join(unit for _, unit in columns)]
    if not dialect.written:
        return [join(head for head, _ in columns)]
    return [join(head if head == time else f"{head} ({unit})" for head, unit in columns)]


def simple(seconds: Floats, vacuum: Floats, decimals: int = 1) -> bytes:
    """The plainest file: comma, seconds, mmHg."""
    rows = "\n".join(f"{at:.4f},{value:.{decimals}f}" for at, value in zip(seconds, vacuum, strict=True))
    return f"Time (s),Vacuum (mmHg)\n{rows}\n".encode()
