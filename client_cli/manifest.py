"""The list of a sweep: one row a trace, saved by whatever spreadsheet the person uses.

A manifest is read whole and checked before anything is sent, and every problem is reported with its line.
"""

import codecs
import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import zip_longest
from pathlib import Path

from client_cli.errors import WrongUse
from client_cli.provenance import NAMES, Provenance, column_name, from_texts, missing, nearest_key
from client_cli.text import clean

FILE_COLUMN = "file"
_DELIMITERS = (",", ";", "\t")
_BLANK = " \t,;"  # what a line without anything in it may still hold
_HEAD_BYTES = 8192
_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)


@dataclass(frozen=True)
class Row:
    """One trace to send: where it lies, where it came from, and its line and name in the manifest, if any.

    `halved` says that the file is sent for its other side too.
    """

    file: Path
    provenance: Provenance
    line: int | None = None
    written: str = ""
    halved: bool = False

    @property
    def name(self) -> str:
        """The file as the person wrote it, with its side where it is sent once for each."""
        side = f" ({self.provenance.get('side')})" if self.halved else ""
        return f"{self.written or self.file}{side}"


def by_side(row: Row) -> list[Row]:
    """The row itself; a row for each side where `side` is `both`.

    Raises WrongUse where one column is named for both.
    """
    if str(row.provenance.get("side", "")).strip().casefold() != "both":
        return [row]
    if row.provenance.get("vacuum_column"):
        raise WrongUse(
            "side is both, but vacuum_column names one column for them.",
            "Send the file twice, as left and as right, each with its vacuum_column.",
        )
    return [
        replace(row, provenance={**row.provenance, "side": side}, halved=True) for side in ("left", "right")
    ]


@dataclass(frozen=True)
class ListProblem:
    """What is wrong with a manifest, and on which line (1 is usually the line of headings)."""

    line: int
    message: str


class ManifestError(WrongUse):
    """A manifest that cannot be sent; `problems` holds all that is wrong with it, in order of lines."""

    def __init__(self, path: Path, problems: list[ListProblem]) -> None:
        counted = "1 problem" if len(problems) == 1 else f"{len(problems)} problems"
        super().__init__(
            f"{path} has {counted}, so nothing was sent.",
            "Correct the lines named and run the same command again.",
        )
        self.problems = sorted(problems, key=lambda problem: problem.line)


def is_manifest(path: Path) -> bool:
    """Whether a file's headings have a `file` column. Raises WrongUse when it cannot be read."""
    try:
        with path.open("rb") as file:
            head = decode(file.read(_HEAD_BYTES))
    except OSError as error:
        raise _unreadable(path, error) from error
    try:
        first = next(_lines(head), None)
    except csv.Error:
        return False
    return first is not None and FILE_COLUMN in map(column_name, first[1])


def read(path: Path, defaults: Mapping[str, str | None] | None = None) -> list[Row]:
    """The rows of a manifest; `defaults` fill the cells that are empty.

    Paths are relative to the manifest's own folder; whether the files are there is seen when they are sent.
    Raises ManifestError with every problem found.
    """
    try:
        text = decode(path.read_bytes())
    except OSError as error:
        raise _unreadable(path, error) from error
    sheet = _Sheet(path.parent, dict(defaults or {}))
    try:
        for line, cells in _lines(text):
            sheet.take(line, cells)
    except csv.Error as error:
        sheet.note(sheet.last_line + 1, f"the quotation marks do not match up ({error})")
    if not sheet.rows and not sheet.problems:
        sheet.note(1, "there are no rows below the headings" if sheet.headings else "it is empty")
    if sheet.problems:
        raise ManifestError(path, sheet.problems)
    return sheet.rows


def decode(data: bytes) -> str:
    """The text of a file as spreadsheets save it: UTF-8, UTF-16 (marked or not), or Windows Latin."""
    for mark, encoding in _BOMS:
        if data.startswith(mark):
            return data[len(mark) :].decode(encoding, "replace")
    for start, encoding in ((1, "utf-16-le"), (0, "utf-16-be")):
        if 4 * data[start::2].count(0) > len(data):  # more than half of the high bytes
            return data.decode(encoding, "replace")
    for encoding in ("utf-8", "cp1252"):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    return data.decode("latin-1")


def template(files: list[Path], folder: Path) -> list[list[str]]:
    """A manifest to fill in: headings, then a row a file with every other cell left empty.

    Paths are written relative to `folder` where the files lie in or below it.
    """
    width = len(NAMES)
    return [[FILE_COLUMN, *NAMES], *([_beside(file, folder), *[""] * width] for file in files)]


def _beside(file: Path, folder: Path) -> str:
    absolute, base = file.resolve(), folder.resolve()
    return absolute.relative_to(base).as_posix() if absolute.is_relative_to(base) else str(absolute)


def _unreadable(path: Path, error: OSError) -> WrongUse:
    return WrongUse(f"{path} cannot be read: {error.strerror or error}.", "Check the name of the file.")


def _lines(text: str) -> Iterator[tuple[int, list[str]]]:
    """The lines that hold anything, as (line number, cells without blanks around them)."""
    # Some spreadsheets name the delimiter on a line of its own before the headings.
    stated = text[4:5] if text[:4].lower() == "sep=" and text[4:5] in _DELIMITERS else ""
    delimiter = stated or _delimiter(text)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    line = 1
    for cells in reader:
        stripped = [cell.strip() for cell in cells]
        if any(cell.strip(_BLANK) for cell in stripped) and not (stated and line == 1):
            yield line, stripped
        line = reader.line_num + 1


def _delimiter(text: str) -> str:
    """What parts the headings: the sign that parts the first line into the most cells."""
    first = next((line for line in text.splitlines() if line.strip(_BLANK)), "")
    return max(_DELIMITERS, key=lambda sign: len(next(csv.reader([first], delimiter=sign), [])))


@dataclass
class _Sheet:
    """A manifest while it is read: its headings, its rows, and what is wrong with it."""

    folder: Path
    defaults: dict[str, str | None]
    headings: list[str] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    problems: list[ListProblem] = field(default_factory=list)
    last_line: int = 0
    sound_headings: bool = True

    def note(self, line: int, message: str) -> None:
        self.problems.append(ListProblem(line, message))

    def take(self, line: int, cells: list[str]) -> None:
        self.last_line = line
        if not self.headings:
            self.headings = [column_name(cell) for cell in cells]
            self._check_headings(line, cells)
            self.sound_headings = not self.problems
        else:
            self._take_row(line, cells)

    def _check_headings(self, line: int, cells: list[str]) -> None:
        for name, written in zip(self.headings, cells, strict=True):
            if name and name != FILE_COLUMN and name not in NAMES:
                near = nearest_key(name, FILE_COLUMN)
                advice = f"; did you mean {near}?" if near else f"; the columns are file, {', '.join(NAMES)}"
                self.note(line, f"unknown column {clean(written)}{advice}")
        for name in sorted({name for name in self.headings if name and self.headings.count(name) > 1}):
            self.note(line, f"the column {clean(name)} is there twice")
        if FILE_COLUMN not in self.headings:
            self.note(line, "the column file is missing: it names the trace of each row")

    def _take_row(self, line: int, cells: list[str]) -> None:
        before = len(self.problems)
        pairs = list(zip_longest(self.headings, cells, fillvalue=""))
        if any(cell for name, cell in pairs if not name):
            self.note(line, "there are more cells than headings")
        given = {name: cell for name, cell in pairs if name}
        written = given.pop(FILE_COLUMN, "")
        file = self._file(line, written)
        filled = {**self.defaults, **{name: cell for name, cell in given.items() if cell}}
        provenance = from_texts({name: text for name, text in filled.items() if name in NAMES})
        if self.sound_headings:  # a misspelt heading would be reported once more on every row
            for name in missing(provenance):
                self.note(line, f"{name} is empty")
        if file is not None and len(self.problems) == before:
            try:
                self.rows += by_side(Row(file, provenance, line, written))
            except WrongUse as error:
                self.note(line, f"{error.message} {error.hint}")

    def _file(self, line: int, cell: str) -> Path | None:
        if FILE_COLUMN not in self.headings:
            return None
        if not cell:
            self.note(line, "file is empty")
            return None
        return self.folder / cell
