"""The rows of a text table as two columns, by the C parser of pandas; words are looked at one by one."""

import io
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.waveform.types import Flags, Floats, ReadError

from .cells import DASHES, NOTHING, OVER_RANGE
from .layout import Layout, no_table

MOST_SAMPLES = 2_000_000
Texts = NDArray[np.object_]
Indices = NDArray[np.intp]
NO_ROWS: Indices = np.empty(0, dtype=np.intp)


@dataclass(frozen=True, eq=False)
class Table:
    """`time` is numbers, texts, or None without a time column; `vacuum` is NaN where there is no number.

    `dashed` marks cells of dashes, which may stand for over-range or for nothing.
    """

    time: Floats | Texts | None
    vacuum: Floats
    over_range: Flags
    dashed: Flags
    line_of: Callable[[int], int | None]


def parse(text: bytes, layout: Layout, time: int | None, vacuum: int) -> Table:
    """Read the two columns. ReadError: too_many_samples, ragged_row, not_a_number, no_table."""
    rows = text.count(b"\n", layout.start_byte)
    if rows > MOST_SAMPLES:
        raise ReadError(
            "too_many_samples",
            f"The file holds more than {MOST_SAMPLES:,} samples.",
            hint="Send one setting a file, or log at a lower rate.",
        )
    frame = _frame(text, layout, time, vacuum)
    cells = _cells_of(frame[vacuum], layout.decimal)
    times = None if time is None else _time_of(frame[time], layout.kinds[time], layout.decimal)
    keep = _rows_of_samples(times, cells, frame[vacuum], text, layout)
    _check_width(text, layout, len(frame))
    kept = np.flatnonzero(keep)

    def line_of(index: int) -> int | None:
        return _line_number(text, layout, int(kept[index])) if index < kept.size else None

    if keep.all():
        return Table(times, cells.numbers, cells.over, cells.dashed, line_of)
    kept_times = None if times is None else times[keep]
    return Table(kept_times, cells.numbers[keep], cells.over[keep], cells.dashed[keep], line_of)


def _frame(text: bytes, layout: Layout, time: int | None, vacuum: int) -> pd.DataFrame:
    blank = layout.delimiter in {" ", ""}
    try:
        return pd.read_csv(
            io.BytesIO(text[layout.start_byte :] if layout.start_byte else text),
            header=None,
            sep=r"\s+" if blank else layout.delimiter,
            decimal=layout.decimal,
            usecols=sorted({vacuum} | ({time} if time is not None else set())),
            names=range(len(layout.kinds)),
            index_col=False,
            low_memory=False,
            encoding="utf-8",
            encoding_errors="replace",
        )
    except pd.errors.ParserError as fault:
        raise _ragged(str(fault), layout) from None
    except (ValueError, OverflowError):
        raise no_table() from None


def _ragged(fault: str, layout: Layout) -> ReadError:
    """A row with too many cells, from the parser's own words."""
    match = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", fault)
    if match is None:
        return no_table()
    return _wide_row(int(match[3]), int(match[1]), layout.start_line + int(match[2]) - 1)


def _wide_row(found: int, usual: int, line: int) -> ReadError:
    return ReadError(
        "ragged_row",
        f"A row holds {found} cells where the others hold {usual}.",
        line,
        "Check that line: a second recording, a stray delimiter or a cut may be there.",
    )


def _check_width(text: bytes, layout: Layout, rows: int) -> None:
    """Refuse rows with too many cells, which the parser drops without a word when it reads chosen columns."""
    if layout.delimiter in {"", " "}:
        return
    delimiter, usual = layout.delimiter.encode(), len(layout.kinds)
    if text.count(delimiter, layout.start_byte) <= rows * (usual - 1) or b'"' in text:
        return
    for number, line in enumerate(text[layout.start_byte :].split(b"\n"), layout.start_line):
        found = line.rstrip().rstrip(delimiter).count(delimiter) + 1
        if found > usual:
            raise _wide_row(found, usual, number)


@dataclass(frozen=True, eq=False)
class _Cells:
    """A column as numbers (NaN where there is none), flags for words, and rows that hold other words."""

    numbers: Floats
    over: Flags
    dashed: Flags
    stray: Indices


def _cells_of(column: "pd.Series[float]", decimal: str) -> _Cells:
    """Numbers and words of a column; each different word is looked at once."""
    if column.dtype.kind in "fiu":
        numbers = np.asarray(column.to_numpy(), dtype=np.float64)
        over = np.isinf(numbers)
        found = np.where(over, np.nan, numbers) if over.any() else numbers
        return _Cells(found, over, np.zeros(over.size, dtype=bool), NO_ROWS)
    codes, found = pd.factorize(column)
    words = [str(word).strip() for word in found]
    plain = [word.replace(",", ".") for word in words] if decimal == "," else words
    values = np.asarray(pd.to_numeric(pd.Series(plain, dtype="object"), errors="coerce"), dtype=np.float64)
    odd = ~np.isfinite(values)
    values = np.where(odd, np.nan, values)
    over = np.array([bool(bad and OVER_RANGE.match(word)) for word, bad in zip(words, odd, strict=True)])
    other = odd & ~over & np.array([not NOTHING.match(word) for word in words])
    dashed = np.array([bool(DASHES.match(word)) for word in words])
    numbers = np.append(values, np.nan)[codes]
    spread = [np.append(flags, [False])[codes].astype(bool) for flags in (over, dashed, other)]
    return _Cells(numbers, spread[0], spread[1], np.flatnonzero(spread[2]))


def _time_of(column: "pd.Series[float]", kind: str, decimal: str) -> Floats | Texts:
    """Numbers where the column holds numbers but for a stray word, else the cells as they are."""
    if column.dtype.kind in "fiu":
        return np.asarray(column.to_numpy(), dtype=np.float64)
    if kind == "number":
        return _cells_of(column, decimal).numbers
    return column.astype("object").to_numpy()


def _rows_of_samples(
    times: Floats | Texts | None, cells: _Cells, column: "pd.Series[float]", text: bytes, layout: Layout
) -> Flags:
    """Which rows are samples: comments, repeated headers, a footer and a cut last line are not.

    Other words are refused.
    """
    keep = np.ones(cells.numbers.size, dtype=bool)
    known = np.isfinite(cells.numbers) | cells.over
    if known.all():
        return keep
    if cells.stray.size and not _footer_or_header(cells.stray, known, times):
        first = int(cells.stray[0])
        raise ReadError(
            "not_a_number",
            f"The vacuum cell holds {str(column.iloc[first])[:40]!r}, which is no number.",
            _line_number(text, layout, first),
            "Correct or remove that line.",
        )
    keep[cells.stray] = False
    keep[_remarks(~known, times)] = False
    keep[int(np.flatnonzero(known)[-1]) + 1 if known.any() else 0 :] = False
    return keep


def _remarks(unknown: Flags, times: Floats | Texts | None) -> Flags | Indices:
    """Rows that have neither a number nor a time: remarks between the samples."""
    if times is None:
        return NO_ROWS
    if times.dtype != np.object_:
        return np.asarray(unknown & np.isnan(times.astype(np.float64)))
    rows = np.flatnonzero(unknown)
    return rows[[_no_time(times[row]) for row in rows]] if rows.size else NO_ROWS


def _footer_or_header(stray: Indices, known: Flags, times: Floats | Texts | None) -> bool:
    """Whether the stray rows are a tail without numbers, or a few lines without a time either."""
    tail = not known[int(stray[0]) :].any()
    if tail or times is None:
        return tail
    return stray.size <= max(3, known.size // 100) and all(_no_time(times[row]) for row in stray)


def _no_time(value: object) -> bool:
    return not any(sign.isdigit() for sign in str(value)) or str(value).lstrip()[:1] in {"#", ";", "%"}


def _line_number(text: bytes, layout: Layout, row: int) -> int | None:
    """Line of the file, from 1, that holds a row; blank lines are no rows."""
    line = layout.start_line
    for content in text[layout.start_byte :].split(b"\n"):
        if content.strip():
            if row == 0:
                return line
            row -= 1
        line += 1
    return None
