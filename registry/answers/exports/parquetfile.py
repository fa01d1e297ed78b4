"""Write a table as Parquet, with its data dictionary in the file."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from registry.answers.exports.columns import Column, Kind, Row
from registry.answers.exports.sink import Sink

# Readers skip whole row groups by their limits; a group of this many rows takes some ten megabytes to make.
ROWS_A_GROUP = 100_000
_TYPES = {
    Kind.TEXT: pa.string(),
    Kind.INTEGER: pa.int64(),
    Kind.NUMBER: pa.float64(),
    Kind.FLAG: pa.bool_(),
    Kind.TIME: pa.timestamp("us", tz="UTC"),
}


class ParquetWriter:
    """Rows to Parquet, compressed with zstd, one row group at a time.

    `about` goes into the schema's metadata as JSON under `vacuary`; each field has `description` and `unit`.
    """

    def __init__(self, sink: Sink, columns: Sequence[Column], about: Mapping[str, Any]) -> None:
        self._schema = pa.schema(
            [_field(column) for column in columns], {"vacuary": json.dumps(about, ensure_ascii=False)}
        )
        self._file = pq.ParquetWriter(sink, self._schema, compression="zstd")
        self._waiting: list[Any] = []
        self._rows = 0

    def write(self, rows: Sequence[Row]) -> None:
        """Append rows."""
        cells = zip(*rows, strict=True)
        arrays = [pa.array(held, field.type) for held, field in zip(cells, self._schema, strict=True)]
        self._waiting.append(pa.record_batch(arrays, schema=self._schema))
        self._rows += len(rows)
        if self._rows >= ROWS_A_GROUP:
            self._write_group()

    def close(self) -> None:
        """Write what waits and the file's end, without which it cannot be read."""
        if self._rows:
            self._write_group()
        self._file.close()

    def _write_group(self) -> None:
        table = pa.Table.from_batches(self._waiting, self._schema)
        self._file.write_table(table, row_group_size=self._rows)
        self._waiting, self._rows = [], 0


def _field(column: Column) -> Any:
    told = {"description": column.description, "unit": column.unit}
    return pa.field(column.name, _TYPES[column.kind], metadata={k: v for k, v in told.items() if v})
