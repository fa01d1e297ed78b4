"""Make one export: a question in, a file with its digest out."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from registry.answers.exports.columns import Row
from registry.answers.exports.csvfile import CsvWriter
from registry.answers.exports.dictionary import about
from registry.answers.exports.parquetfile import ParquetWriter
from registry.answers.exports.sink import Sink
from registry.answers.exports.snapshot import snapshot
from registry.answers.exports.table import Table

FORMATS = ("csv", "parquet")


@dataclass(frozen=True)
class Export:
    """A finished file, and what can be said of it. Whoever takes `sink` closes its file."""

    sink: Sink
    model: str
    rows: int
    edition: int
    as_of: datetime


class _Writer(Protocol):
    def write(self, rows: list[Row]) -> None: ...

    def close(self) -> None: ...


def build(table: Table, form: str, asked: Mapping[str, Any], folder: Path, *, mark: bool = False) -> Export:
    """Write the rows of `table` for the question `asked` to a file in `folder` and return it.

    All rows are of one moment. The same question over the same data gives the same bytes, whenever it is
    asked (for Parquet: by the same version of its library). Memory is bounded by some ten thousand rows.
    `form` is one of FORMATS; `mark` sets a byte order mark at the start of CSV.

    Raises TooLarge past the bounds, and what the table's question raises.
    """
    sink = Sink(folder)
    try:
        with snapshot():
            filled = table.fill(**asked)
            writer = _writer(sink, form, table, filled.edition, mark=mark)
            rows = 0
            for chunk in filled.chunks:
                writer.write(chunk)
                rows += len(chunk)
            writer.close()
    except BaseException:
        sink.abandon()
        raise
    return Export(sink, filled.model, rows, filled.edition, filled.as_of)


def _writer(sink: Sink, form: str, table: Table, edition: int, *, mark: bool) -> _Writer:
    if form == "csv":
        return CsvWriter(sink, table.columns, mark=mark)
    return ParquetWriter(sink, table.columns, about(table, edition))
