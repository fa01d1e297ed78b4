"""What a cell of a text table can be: a number, a time, a date, an over-range word, nothing, or words."""

import csv
import re

NUMBER = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?\Z")
CLOCK = re.compile(
    r"(?:(?:\d{1,4}[-./]\d{1,2}[-./]\d{1,4}[T ]+)?\d{1,6}(?::\d{1,2}){1,2}|\d{8}T\d{6})(?:[.,:]\d*)?"
    r"\s*(?:[AaPp]\.?[Mm]\.?)?(?:Z|UTC|[+-]\d\d(?::?\d\d)?)?\Z"
)
DATE = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}\Z")
OVER_RANGE = re.compile(
    r"(?:[+-]?(?:o\.?l\.?|0l|over|overload|over[ _-]?range|ovr|ovl|ovfl?|of|overflow|sat|saturated|inf)"
    r"|>+|\++|\*+|#+|>inf)\Z",
    re.IGNORECASE,
)
DASHES = re.compile(r"-{2,}\Z")
NOTHING = re.compile(r"(?:|-+|n/?a|nan|null|none|missing|\?+|#n/a|err|error|---?\.--?)\Z", re.IGNORECASE)


def split_line(line: str, delimiter: str) -> list[str]:
    """Cells of a line, trimmed and unquoted; blanks as delimiter run together."""
    if not delimiter:
        return [line.strip()]
    if delimiter == " ":
        return line.split()
    if '"' in line:
        try:
            return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
        except (csv.Error, StopIteration):
            return [line]
    return [cell.strip() for cell in line.split(delimiter)]


def kind_of(cell: str) -> str:
    """'number', 'clock', 'date', 'gap' (over-range word or nothing) or 'words'."""
    if NUMBER.match(cell):
        return "number"
    if CLOCK.match(cell):
        return "clock"
    if DATE.match(cell):
        return "date"
    if OVER_RANGE.match(cell) or NOTHING.match(cell):
        return "gap"
    return "words"
