"""What can be exported: a name, columns, and a way to its rows."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from registry.answers.exports.columns import Column, Row


@dataclass(frozen=True)
class Filled:
    """A table's rows as somebody asked for them, in an order that depends on the data alone.

    `chunks` gives the rows some thousands at a time and must be read inside the snapshot it was made in.
    """

    model: str
    edition: int
    as_of: datetime
    chunks: Iterator[list[Row]]


class Table(Protocol):
    """Something that can be exported."""

    @property
    def name(self) -> str:
        """What it is asked for by."""

    @property
    def description(self) -> str:
        """What one row is."""

    @property
    def cautions(self) -> tuple[str, ...]:
        """What belongs beside its figures."""

    @property
    def columns(self) -> tuple[Column, ...]:
        """Its columns in order."""

    def fill(self, **asked: Any) -> Filled:
        """Return the rows for a question. Raises what the question's own answer raises."""
