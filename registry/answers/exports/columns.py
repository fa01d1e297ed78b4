"""The columns of an exported table: what each is called, holds and means."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any

# One row of a table, in the order of its columns.
Row = tuple[Any, ...]


class Kind(StrEnum):
    """What the cells of a column are. Any cell may be empty."""

    TEXT = "text"
    INTEGER = "integer"
    NUMBER = "number"
    FLAG = "flag"
    TIME = "time"


@dataclass(frozen=True)
class Column:
    """A column, and where in an answer's row its value is found: under `key`, else under its own name.

    `pick` turns what is there into the cell. With `whole`, the key is one of the answer document's own, so
    all rows of an answer hold the same.
    """

    name: str
    kind: Kind
    description: str
    unit: str = ""
    key: str = ""
    pick: Callable[[Any], Any] | None = None
    whole: bool = False

    def cell(self, document: Mapping[str, Any], row: Mapping[str, Any]) -> Any:
        """This column's cell of one row of an answer; None where there is nothing."""
        found = (document if self.whole else row).get(self.key or self.name)
        if found is None:
            return None
        return _as(self.kind, self.pick(found) if self.pick else found)

    def as_dict(self) -> dict[str, str]:
        """The column as the data dictionary tells it."""
        return {
            "name": self.name,
            "type": self.kind.value,
            "unit": self.unit,
            "description": self.description,
        }


def _as(kind: Kind, value: Any) -> Any:
    """A number is a float even where an answer gives it without decimals; times are read and in UTC."""
    if value is None or kind in (Kind.INTEGER, Kind.FLAG):
        return value
    if kind is Kind.NUMBER:
        return float(value)
    if kind is Kind.TIME:
        read = datetime.fromisoformat(value) if isinstance(value, str) else value
        return read.astimezone(UTC)
    return str(value)


def text(name: str, description: str, **more: Any) -> Column:
    """A column of text."""
    return Column(name, Kind.TEXT, description, **more)


def count(name: str, description: str, **more: Any) -> Column:
    """A column of whole numbers."""
    return Column(name, Kind.INTEGER, description, **more)


def number(name: str, description: str, unit: str = "", **more: Any) -> Column:
    """A column of numbers in `unit`."""
    return Column(name, Kind.NUMBER, description, unit, **more)


def flag(name: str, description: str, **more: Any) -> Column:
    """A column of true and false."""
    return Column(name, Kind.FLAG, description, **more)


def time(name: str, description: str, **more: Any) -> Column:
    """A column of moments, in UTC."""
    return Column(name, Kind.TIME, description, **more)


def inner(key: str) -> Callable[[Mapping[str, Any]], Any]:
    """Pick what an object holds under `key`."""
    return lambda held: held.get(key)


def joined(key: str) -> Callable[[Sequence[Mapping[str, Any]]], str]:
    """Pick what each object of a list says under `key`, in one text."""
    return lambda listed: "; ".join(str(item[key]) for item in listed)
