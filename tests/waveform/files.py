"""Trace files in the ways loggers write them, made from arrays of seconds and mmHg."""

import gzip
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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
    """One way of writing. `time` is one of the keys of TIMES; `sign` -1 writes pressure below ambient."""

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


def _elapsed(scale: float) -> Callable[[Floats, int], list[str]]:
    return lambda seconds, digits: [f"{value * scale:.{digits}f}" for value in seconds]


def _clock(
    start: float, *, hours: bool, date: str = "", zone: str = ""
) -> Callable[[Floats, int], list[str]]:
    def write(seconds: Floats, digits: int) -> list[str]:
        rows = []
        for value in seconds:
            whole = (value + start) % (86400.0 if hours else 3600.0)
            minute, second = divmod(whole, 60.0)
            text = f"{second:0{digits + 3}.{digits}f}"
            if text.startswith("60"):
                minute, text = minute + 1, f"{0:0{digits + 3}.{digits}f}"
            hour, minute = divmod(int(minute), 60)
            clock = f"{hour % 24:02d}:{minute:02d}:{text}" if hours else f"{minute:02d}:{text}"
            rows.append(f"{date}{clock}{zone}")
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
    "dated": ("Date/Time", _clock(7200.0, hours=True, date="04/03/2026 ")),
}


def write(seconds: Floats, vacuum: Floats, dialect: Dialect = Dialect()) -> bytes:
    """The file. Values are written in the dialect's unit and sign with its digits after the decimal sign."""
    name, times = TIMES[dialect.time]
    shown = dialect.sign * vacuum * PASCALS["mmHg"] / PASCALS[dialect.unit]
    label = "Vacuum" if dialect.sign > 0 else "Pressure"
    time_digits = dialect.digits if dialect.time == "min" else min(dialect.digits, 9)
    cells = [
        times(seconds, time_digits),
        [f"{value:.{dialect.digits}g}" if np.isfinite(value) else "" for value in shown],
    ]
    if dialect.decimal == ",":
        cells = [[cell.replace(".", ",") for cell in column] for column in cells]
    if dialect.unit_row:
        head = [
            dialect.delimiter.join([name.split(" ")[0], label]),
            dialect.delimiter.join(["s", dialect.unit]),
        ]
    else:
        head = [dialect.delimiter.join([name, f"{label} ({dialect.unit})"])]
    rows = [dialect.delimiter.join(pair) for pair in zip(*cells, strict=True)]
    data = dialect.newline.join([*dialect.preamble, *head, *rows, ""]).encode(dialect.encoding)
    return gzip.compress(data, mtime=0) if dialect.compress else data


def simple(seconds: Floats, vacuum: Floats, decimals: int = 1) -> bytes:
    """The plainest file: comma, seconds, mmHg."""
    rows = "\n".join(f"{at:.4f},{value:.{decimals}f}" for at, value in zip(seconds, vacuum, strict=True))
    return f"Time (s),Vacuum (mmHg)\n{rows}\n".encode()
