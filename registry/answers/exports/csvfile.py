"""Write a table as CSV after RFC 4180: comma, double quotes, CRLF, decimal point, UTF-8."""

import csv
import io
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import lru_cache
from typing import Any, Protocol

from registry.answers.exports.columns import Column, Kind, Row
from registry.answers.exports.spreadsheets import harmless

MARK = "\ufeff"


class Takes(Protocol):
    """Something bytes can be written to."""

    def write(self, data: bytes, /) -> object:
        """Take bytes."""


class CsvWriter:
    """Rows to CSV. With `mark`, a byte order mark stands first, by which spreadsheets know UTF-8.

    An empty cell is a value that is not there; numbers have the digits that read back to the same number;
    times are ISO 8601 in UTC; flags are true and false.
    """

    def __init__(self, sink: Takes, columns: Sequence[Column], *, mark: bool = False) -> None:
        self._sink = sink
        self._to_text = [_TO_TEXT.get(column.kind) for column in columns]
        self._put([[column.name for column in columns]], MARK if mark else "")

    def write(self, rows: Sequence[Row]) -> None:
        """Append rows."""
        written = [
            cells if to_text is None else [None if cell is None else to_text(cell) for cell in cells]
            for to_text, cells in zip(self._to_text, zip(*rows, strict=True), strict=True)
        ]
        self._put(zip(*written, strict=True))

    def close(self) -> None:
        """There is nothing after the last row."""

    def _put(self, rows: Any, before: str = "") -> None:
        text = io.StringIO(before, newline="")
        text.seek(0, io.SEEK_END)
        csv.writer(text, lineterminator="\r\n").writerows(rows)
        self._sink.write(text.getvalue().encode())


@lru_cache(maxsize=1024)  # all rows of a run hold the same times
def _time(moment: datetime) -> str:
    return moment.isoformat().replace("+00:00", "Z")


def _flag(value: bool) -> str:  # noqa: FBT001 - it writes a truth value
    return "true" if value else "false"


_TO_TEXT: dict[Kind, Callable[[Any], str]] = {Kind.TEXT: harmless, Kind.TIME: _time, Kind.FLAG: _flag}
