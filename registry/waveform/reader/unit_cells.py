"""Cells that repeat their unit, such as `123.4 mmHg`: the units are taken out, and kept by column.

A few rows tell which units there are; just these are taken off the ends of cells from the first such row on.
A cell in another unit keeps it and is refused as no number, since its column has one unit.
"""

import re
from collections import Counter

from registry.waveform.units import unit_named

from .cells import NUMBER, split_line
from .words import time_unit

FEWEST_ALIKE = 0.5  # share of the sampled rows that have to end their cells in the same units
_WRITTEN = re.compile(
    r"(?:\A|[;,\t|\"])[ ]*[+-]?\d*[.,]?\d+[ ]{0,3}([^\W\d_][^;,\t|\"]{0,15}?)[ ]*(?=[;,\t|\"]|\Z)"
)
_END = rb"(?=[ ]*(?:[;,\t|\r\n\"]|\Z))"

Rows = list[tuple[str, ...]]


def written_units(line: str) -> tuple[str, ...]:
    """The known units that follow numbers at the ends of a line's cells, as written."""
    return tuple(word for word in _WRITTEN.findall(line.strip()) if _known(word) is not None)


def _known(word: str) -> str | None:
    return unit_named(word) or time_unit(word)


def bare(text: bytes, head: int) -> tuple[bytes, str]:
    """(the text without units behind its numbers, the first row that had them, else nothing).

    `head` is how many bytes at the start are looked at. Lines above the first such row stay as they are.
    """
    lines = text[:head].decode("utf-8", "replace").split("\n")
    found = [written_units(line) for line in lines]
    late = [units for line, units in zip(lines, found, strict=True) if line.strip()][len(lines) // 3 :]
    usual, count = Counter(late).most_common(1)[0] if late else ((), 0)
    if not usual or count < FEWEST_ALIKE * len(late):
        return text, ""
    first = found.index(usual)
    start = sum(len(line.encode("utf-8")) + 1 for line in lines[:first])
    words = b"|".join(re.escape(word.encode()) for word in sorted(set(usual), key=len, reverse=True))
    unit = re.compile(rb"(?:(?<=[\d.,])[ ]{0,3}|(?<=[^\s;,\t|])[ ]{1,3})(?:" + words + rb")" + _END)
    return text[:start] + unit.sub(b"", text[start:]), lines[first]


def units_of(row: str, delimiter: str, width: int) -> tuple[str, ...]:
    """The unit in each cell of a row, '' where a cell has none; nothing where the row has another width."""
    units = []
    for cell in split_line(row, delimiter):
        word = next(iter(written_units(cell)), "")
        units.append(word if NUMBER.match(cell.removesuffix(word).rstrip()) else "")
    return tuple(units) if len(units) == width else ()
