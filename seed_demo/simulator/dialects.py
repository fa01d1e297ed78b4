"""The text files that logging gauges write: separators, decimal marks, time columns, preambles, signs."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from seed_demo.simulator.gauge import Reading

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Dialect:
    """How one kind of gauge writes its log."""

    delimiter: str
    decimal: str
    time: str
    """s, ms or clock"""
    negative: bool
    """True when vacuum is written as gauge pressure, below zero"""
    header: tuple[str, ...]
    """names of the time and the vacuum column, then of any further column"""
    units_row: tuple[str, ...] = ()
    preamble: tuple[str, ...] = ()
    """lines before the header; {when} and {serial} are filled in"""
    extra: str = ""
    """a constant further column, a battery or a temperature reading"""
    encoding: str = "utf-8"
    newline: str = "\n"


def write(dialect: Dialect, reading: Reading, resolution: float, when: datetime, gauge_serial: str) -> bytes:
    """The log file of one reading, started at `when` (only its wall-clock digits are written)."""
    digits = max(0, int(np.ceil(-np.log10(resolution) - 1e-9)))
    times = _times(dialect, reading.stamps, when)
    values = _numbers(-reading.vacuum if dialect.negative else reading.vacuum, digits, dialect.decimal)
    tail = dialect.delimiter + dialect.extra if dialect.extra else ""
    rows = [f"{t}{dialect.delimiter}{v}{tail}" for t, v in zip(times, values, strict=True)]
    text = dialect.newline.join([*_top(dialect, when, gauge_serial), *rows, ""])
    return text.encode(dialect.encoding)


def _top(dialect: Dialect, when: datetime, gauge_serial: str) -> list[str]:
    started = when.strftime("%Y-%m-%d %H:%M:%S")
    lines = [line.format(when=started, serial=gauge_serial) for line in dialect.preamble]
    lines.append(dialect.delimiter.join(dialect.header))
    return [*lines, dialect.delimiter.join(dialect.units_row)] if dialect.units_row else lines


def _times(dialect: Dialect, stamps: Array, when: datetime) -> Iterable[str]:
    if dialect.time == "ms":
        return [f"{ms}" for ms in np.round(stamps * 1000.0).astype(int).tolist()]
    if dialect.time == "clock":
        return [_clock(when + timedelta(milliseconds=round(1000.0 * s))) for s in stamps.tolist()]
    return _numbers(stamps, 3, dialect.decimal)


def _clock(moment: datetime) -> str:
    return moment.strftime("%H:%M:%S.") + f"{moment.microsecond // 1000:03d}"


def _numbers(values: Array, digits: int, decimal: str) -> list[str]:
    """Fixed-point text; a value that rounds to zero carries no sign."""
    clean = np.round(values, digits) + 0.0
    text = [f"{value:.{digits}f}" for value in clean.tolist()]
    return [t.replace(".", ",") for t in text] if decimal == "," else text
