"""The rows of a text table as two columns, by the C parser of pandas; words are looked at one by one."""

import io
import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.waveform.types import Flags, Floats, ReadError

from .cells import NOTHING, OVER_RANGE
from .layout import Layout, no_table

MOST_SAMPLES = 2_000_000
Texts = NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class Table:
    """`time` is numbers, texts, or None without a time column; `vacuum` is NaN where there is no number."""

    time: Floats | Texts | None
    vacuum: Floats
    over_range: Flags
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
    numbers, over = _vacuum_of(frame[vacuum], layout.decimal)
    times = None if time is None else _time_of(frame[time], layout.kinds[time], layout.decimal)
    keep = _rows_of_samples(times, numbers, over, frame, (text, layout, vacuum))
    _check_width(text, layout, len(frame))
    kept = np.flatnonzero(keep)

    def line_of(index: int) -> int | None:
        return _line_number(text, layout, int(kept[index])) if index < kept.size else None

    if keep.all():
        return Table(times, numbers, over, line_of)
    return Table(None if times is None else times[keep], numbers[keep], over[keep], line_of)


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


def _vacuum_of(column: "pd.Series[float]", decimal: str) -> tuple[Floats, Flags]:
    """(numbers, over-range flags); anything that is no number is NaN."""
    if column.dtype.kind in "fiu":
        numbers = np.asarray(column.to_numpy(), dtype=np.float64)
        over = np.isinf(numbers)
        return (np.where(over, np.nan, numbers) if over.any() else numbers), over
    words = column.astype("str").str.strip()
    plain = words.str.replace(",", ".", regex=False) if decimal == "," else words
    numbers = pd.to_numeric(plain, errors="coerce").to_numpy()
    numbers = np.asarray(numbers, dtype=np.float64)
    odd = np.flatnonzero(~np.isfinite(numbers))
    over = np.zeros(len(column), dtype=bool)
    over[odd] = [bool(OVER_RANGE.match(str(word))) for word in words.iloc[odd]]
    numbers = np.where(np.isfinite(numbers), numbers, np.nan)
    return numbers, over


def _time_of(column: "pd.Series[float]", kind: str, decimal: str) -> Floats | Texts:
    """Numbers where the column holds numbers but for a stray word, else the cells as they are."""
    if column.dtype.kind in "fiu":
        return np.asarray(column.to_numpy(), dtype=np.float64)
    if kind == "number":
        return _vacuum_of(column, decimal)[0]
    return column.astype("object").to_numpy()


def _rows_of_samples(
    times: Floats | Texts | None,
    numbers: Floats,
    over: Flags,
    frame: pd.DataFrame,
    source: tuple[bytes, Layout, int],
) -> Flags:
    """Which rows are samples: comments, repeated headers, a footer and a cut last line are not.

    Other words are refused.
    """
    text, layout, vacuum = source
    if np.isfinite(numbers).all():
        return np.ones(numbers.size, dtype=bool)
    keep = np.ones(numbers.size, dtype=bool)
    column = frame[vacuum]
    stray: list[int] = []
    for row in np.flatnonzero(~np.isfinite(numbers) & ~over):
        word = column.iloc[row]
        if isinstance(word, str) and not NOTHING.match(word.strip()):
            stray.append(int(row))
    if stray and not _footer_or_header(stray, numbers, times):
        word = str(column.iloc[stray[0]])[:40]
        raise ReadError(
            "not_a_number",
            f"The vacuum cell holds {word!r}, which is no number.",
            _line_number(text, layout, stray[0]),
            "Correct or remove that line.",
        )
    keep[stray] = False
    last = np.flatnonzero(np.isfinite(numbers) | over)
    keep[int(last[-1]) + 1 if last.size else 0 :] = False
    return keep


def _footer_or_header(stray: list[int], numbers: Floats, times: Floats | Texts | None) -> bool:
    """Whether the stray rows are a tail without numbers, or a few lines without a time either."""
    tail = all(not np.isfinite(numbers[row:]).any() for row in stray)
    if tail or times is None:
        return tail
    timeless = [_no_time(times[row]) for row in stray]
    return len(stray) <= max(3, numbers.size // 100) and all(timeless)


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
