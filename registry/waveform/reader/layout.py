"""How a text table is laid out: delimiter, decimal sign, where numbers begin, header, units, preamble."""

import re
from collections import Counter
from dataclasses import dataclass, replace

from registry.waveform.types import ReadError
from registry.waveform.units import unit_named

from .cells import kind_of, split_line
from .unit_cells import bare, units_of
from .words import any_unit, split_name

HEAD_BYTES, LONG_HEAD_BYTES = 6_000, 200_000
DELIMITERS = (";", "\t", "|", ",", " ")
NAMES = {";": "semicolon", "\t": "tab", "|": "bar", ",": "comma", " ": "blank", "": "none"}
_COMMENT = re.compile(r"^\s*(?:#+|//+|;+|%+|\*+)\s*")
_PAIR = re.compile(r"^([^:=]{1,60}?)\s*[:=]\s*(.+)$")


@dataclass(frozen=True)
class Layout:
    """`kinds` is what each column holds; `names` and `units` are empty without a header or unit row.

    `start_byte` and `start_line` (from 1) are where the numbers begin. `cell_units` is the unit that each
    column's cells repeated, empty where none did.
    """

    delimiter: str
    decimal: str
    kinds: tuple[str, ...]
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int | None
    start_byte: int
    start_line: int
    preamble: tuple[tuple[str, str], ...]
    cell_units: tuple[str, ...] = ()


def find_layout(text: bytes) -> Layout:
    """Look at the head of the file. ReadError no_table when it holds no rows of numbers.

    A short head serves nearly all files; a longer one is tried for those with much to say before the numbers.
    """
    try:
        return _layout_of(text, HEAD_BYTES)
    except ReadError:
        if len(text) <= HEAD_BYTES:
            raise
        return _layout_of(text, LONG_HEAD_BYTES)


def layout_and_cells(text: bytes) -> tuple[Layout, bytes]:
    """(layout, the text that it is of): without the units that cells repeat. ReadError as `find_layout`."""
    try:
        layout = find_layout(text)
    except ReadError:
        plain, row = bare(text, HEAD_BYTES)
        if not row:
            raise
    else:
        plain, row = bare(text, HEAD_BYTES) if "words" in layout.kinds else (text, "")
        if not row:
            return layout, text
    layout = find_layout(plain)
    units = units_of(row, layout.delimiter, len(layout.kinds))
    if not units:
        raise no_table()
    return replace(layout, cell_units=units), plain


def _layout_of(text: bytes, size: int) -> Layout:
    lines = _head_lines(text, size)
    sample = _sample(lines)
    delimiter, kinds = _delimiter(sample)
    start = _first_row(lines, delimiter, kinds)
    rows = [split_line(line, delimiter) for line in sample]
    decimal = "." if delimiter == "," and not any('"' in line for line in sample) else _decimal(rows)
    names, units, header = _header(lines[:start], delimiter, kinds)
    above = lines[start - 1] if start else ""
    if delimiter == "," and len(kinds) == 2 and not names and unit_named(split_name(above)[1]):
        delimiter, decimal, kinds = "", ",", ("number",)
        names, units, header = _header(lines[:start], delimiter, kinds)
    if delimiter == "," and not names and 2 * above.count(",") + 2 == len(kinds) > 2:
        raise ReadError(
            "decimal_comma_unclear",
            "Cells are parted by commas and numbers seem to hold decimal commas too.",
            start + 1,
            "Export with semicolons or tabs between cells, or with decimal points.",
        )
    before = lines[: start if header is None else header]
    encoded = sum(len(line.encode("utf-8")) + 1 for line in lines[:start])
    return Layout(
        delimiter,
        decimal,
        kinds,
        names,
        units,
        None if header is None else header + 1,
        encoded,
        start + 1,
        _pairs(before, delimiter),
    )


def _head_lines(text: bytes, size: int) -> list[str]:
    """Whole lines of the head, with their line end's carriage return kept so that bytes can be counted."""
    head = text[:size]
    if len(text) > size:
        cut = head.rfind(b"\n")
        if cut < 0:
            raise no_table()
        head = head[:cut]
    return head.decode("utf-8", "replace").split("\n")


def no_table() -> ReadError:
    """The refusal of a file without rows of numbers."""
    return ReadError(
        "no_table",
        "No rows of numbers were found.",
        hint="Send a text table: a header line, then a row for each sample with time and vacuum.",
    )


def _sample(lines: list[str]) -> list[str]:
    """A dozen lines that are most likely rows of numbers: spread over the last two thirds of the head."""
    late = lines[len(lines) // 3 :]
    some = [line for line in late[:: max(1, len(late) // 12)] if line.strip()][:16]
    if len(some) > 3:
        return some
    filled = [line for line in lines if line.strip()]
    late = filled[len(filled) // 3 :]
    return late[:: max(1, len(late) // 12)][:16]


def _delimiter(sample: list[str]) -> tuple[str, tuple[str, ...]]:
    """(delimiter, kinds of the columns) that make most of the sample cells values."""
    best: tuple[float, str, tuple[str, ...]] = (0.0, "", ())
    for delimiter in DELIMITERS:
        rows = [split_line(line, delimiter) for line in sample if delimiter in line]
        if not rows:
            continue
        width, count = Counter(map(len, rows)).most_common(1)[0]
        if width < 2 or 2 * count < len(sample):
            continue
        kinds = _column_kinds([row for row in rows if len(row) == width])
        values = sum(kind in {"number", "clock", "date"} for kind in kinds)
        score = (values - sum(kind == "words" for kind in kinds)) / width * count / len(sample)
        if values >= 1 and "number" in kinds and score > best[0] + 1e-9:
            best = (score, delimiter, kinds)
    if best[2]:
        return best[1], best[2]
    single = _column_kinds([[line.strip()] for line in sample])
    if single and single[0] == "number":
        return "", single
    raise no_table()


def _column_kinds(rows: list[list[str]]) -> tuple[str, ...]:
    kinds = []
    for column in zip(*rows, strict=True):
        found = Counter(kind_of(cell) for cell in column)
        gaps = found.pop("gap", 0)
        kinds.append(found.most_common(1)[0][0] if found else "gap")
        if kinds[-1] == "words" and gaps > found["words"]:
            kinds[-1] = "gap"
    return tuple(kinds)


def _first_row(lines: list[str], delimiter: str, kinds: tuple[str, ...]) -> int:
    """Index of the first line that holds values where the columns hold values."""
    for index, line in enumerate(lines):
        cells = split_line(line, delimiter) if delimiter else [line.strip()]
        if len(cells) == len(kinds) and _fits(cells, kinds):
            return index
    raise no_table()


def _fits(cells: list[str], kinds: tuple[str, ...]) -> bool:
    wanted = [(kind_of(cell), kind) for cell, kind in zip(cells, kinds, strict=True)]
    strict = [found in {kind, "gap"} for found, kind in wanted if kind in {"number", "clock", "date"}]
    return all(strict) and any(found in {"number", "clock"} for found, kind in wanted if kind != "words")


def _decimal(rows: list[list[str]]) -> str:
    cells = [cell for row in rows for cell in row if kind_of(cell) == "number"]
    commas = sum("," in cell for cell in cells)
    points = sum("." in cell for cell in cells)
    return "," if commas > points else "."


def _header(
    before: list[str], delimiter: str, kinds: tuple[str, ...]
) -> tuple[tuple[str, ...], tuple[str, ...], int | None]:
    """(names, units, index) of the header among the lines before the numbers."""
    rows: list[tuple[int, list[str]]] = []
    for index in range(len(before) - 1, -1, -1):
        if before[index].strip():
            cells = _header_cells(before[index], delimiter, kinds)
            if cells is None or len(rows) == 3:
                break
            rows.append((index, cells))
    if not rows:
        return (), (), None
    units: tuple[str, ...] = ()
    if len(rows) > 1 and all(_only_unit(cell) for cell in rows[0][1]):
        units = tuple(cell.strip("()[]{} ") for cell in rows.pop(0)[1])
    index, names = rows[0]
    if len(rows) > 1:
        names = _grouped(names, rows[1][1])
    return tuple(names), units, index


def _grouped(names: list[str], above: list[str]) -> list[str]:
    """Headings that repeat get the word of the row above, which stands over the first of its group."""
    if len(set(names)) == len(names) or not above[0] or not any(not cell for cell in above[1:]):
        return names
    groups: list[str] = []
    for cell in above:
        groups.append(cell or groups[-1])
    return [f"{group} {name}" for group, name in zip(groups, names, strict=True)]


def _header_cells(line: str, delimiter: str, kinds: tuple[str, ...]) -> list[str] | None:
    """Cells of a header line, or None when it does not match the columns."""
    width = len(kinds)
    for text in (line, _COMMENT.sub("", line)):
        cells = (
            _words(text) if delimiter == " " else split_line(text, delimiter) if delimiter else [text.strip()]
        )
        while len(cells) > width and not cells[-1]:
            cells.pop()
        if len(cells) < width and set(kinds[len(cells) :]) == {"gap"}:
            cells += [""] * (width - len(cells))
        named = sum(bool(cell) for cell in cells)
        if len(cells) == width and named and not (delimiter == "" and _PAIR.match(text)):
            return cells
    return None


def _words(text: str) -> list[str]:
    """Cells of a header parted by blanks: units in brackets belong to the word before."""
    wide = [cell.strip() for cell in re.split(r"\t+|\s{2,}", text.strip()) if cell.strip()]
    cells: list[str] = []
    for word in text.split():
        if cells and (word[0] in "([{/" or cells[-1].count("(") > cells[-1].count(")")):
            cells[-1] += " " + word
        else:
            cells.append(word)
    return wide if len(wide) > 1 and len(wide) < len(cells) else cells


def _only_unit(cell: str) -> bool:
    inner = cell.strip("()[]{} ")
    return not inner or (bool(re.fullmatch(r"[a-zA-Zµμ°%/\"₂0-9 .:-]{1,14}", inner)) and any_unit(inner))


def _pairs(lines: list[str], delimiter: str) -> tuple[tuple[str, str], ...]:
    """Keys and values of preamble lines: `key: value`, `key = value` or `key<delimiter>value`."""
    pairs = []
    for line in lines:
        text = _COMMENT.sub("", line).strip().strip('"')
        match = _PAIR.match(text)
        cells = [cell for cell in split_line(text, delimiter) if cell] if delimiter not in {"", " "} else []
        if len(cells) >= 2 and not (match and ":" in cells[0]):
            pairs.append((cells[0].rstrip(" :=").casefold(), " ".join(cells[1:3])))
        elif match:
            pairs.append((match[1].strip().casefold(), match[2].strip().rstrip(";,\t ")))
    return tuple(pairs)
