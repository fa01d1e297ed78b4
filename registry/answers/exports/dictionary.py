"""The data dictionary: what every column of an exported table holds, and what every metric is."""

import io
from collections.abc import Sequence
from typing import Any

from registry.answers.exports.columns import Column, Kind, Row, text
from registry.answers.exports.csvfile import CsvWriter
from registry.answers.exports.spreadsheets import RULE
from registry.answers.exports.table import Table
from registry.waveform.editions import edition_of

NOTES = (
    "An empty cell is a value that is not there: not said, not known, or not carried by the counts.",
    "Vacuum is positive, in mmHg below ambient. 1 mmHg is 133.322387415 Pa.",
    "Uncertainties are standard uncertainties (one standard deviation), after the GUM.",
    "CSV is UTF-8 after RFC 4180: comma, double quotes where needed, CRLF. Decimal points; times are UTC.",
    RULE,
)
COLUMNS = (
    text("kind", "what the row tells of: column, metric, note or caution"),
    text("name", "the column's or the metric's name"),
    text("type", "what the column's cells are: text, integer, number, flag or time"),
    text("unit", "the unit of its numbers; 1 for a ratio"),
    text("description", "what it holds, or how the metric is defined"),
)


def about(table: Table, edition: int) -> dict[str, Any]:
    """Return the dictionary of a table under an edition as a document; it depends on nothing else."""
    definitions = edition_of(edition).metrics.values()
    return {
        "of": table.name,
        "description": table.description,
        "edition": edition,
        "columns": [column.as_dict() for column in table.columns],
        "metrics": [
            {"name": metric.name, "unit": metric.unit, "definition": metric.definition}
            for metric in definitions
        ],
        "notes": list(NOTES),
        "cautions": list(table.cautions),
    }


def dictionary_csv(document: dict[str, Any], *, mark: bool = False) -> bytes:
    """The dictionary as CSV, to lie beside a table; `mark` sets a byte order mark first."""
    held = io.BytesIO()
    CsvWriter(held, COLUMNS, mark=mark).write(_rows(document))
    return held.getvalue()


def _rows(document: dict[str, Any]) -> list[Row]:
    columns = [("column", c["name"], c["type"], c["unit"], c["description"]) for c in document["columns"]]
    metrics = [
        ("metric", m["name"], Kind.NUMBER.value, m["unit"], m["definition"]) for m in document["metrics"]
    ]
    said = [("note", "", "", "", document["description"])]
    said += [("note", "", "", "", note) for note in document["notes"]]
    said += [("caution", "", "", "", caution) for caution in document["cautions"]]
    return [*columns, *metrics, *said]


def check_columns(columns: Sequence[Column]) -> None:
    """Raise ValueError where two columns share a name, which no reader of tables would forgive."""
    names = [column.name for column in columns]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"two columns are called {', '.join(twice)}")
