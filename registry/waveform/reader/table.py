"""The rows of a text table as two columns of numbers; other cells are looked at one by one."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from registry.waveform import kernels
from registry.waveform.types import Flags, Floats, ReadError

from .cells import DASHES, NOTHING, OVER_RANGE
from .layout import Layout, no_table

MOST_SAMPLES = 2_000_000
PORTION = 10_000  # odd cells looked at together
KINDS = ("nothing", "over", "dashes", "stray")
Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Stamps:
    """Clock times where they stand in the text: one row each of `places` is a start and an end."""

    text: bytes
    places: Indices

    def __len__(self) -> int:
        return len(self.places)

    def word(self, row: int) -> str:
        """One of them as written."""
        start, end = self.places[row].tolist()
        return self.text[start:end].decode("utf-8", "replace")

    def words(self) -> list[str]:
        """All of them as written."""
        text = self.text
        return [text[start:end].decode("utf-8", "replace") for start, end in self.places.tolist()]


@dataclass(frozen=True, eq=False)
class Table:
    """`time` is None without a time column; `vacuum` is NaN where there is no number.

    `dashed` marks cells of dashes, which may stand for over-range or for nothing.
    """

    time: Floats | Stamps | None
    vacuum: Floats
    over_range: Flags
    dashed: Flags
    line_of: Callable[[int], int | None]


def parse(text: bytes, layout: Layout, time: int | None, vacuum: int) -> Table:
    """Read the two columns. ReadError: too_many_samples, ragged_row, not_a_number, no_table."""
    rows = text.count(b"\n", layout.start_byte)
    if rows > MOST_SAMPLES:
        raise ReadError(
            "too_many_samples",
            f"The file holds more than {MOST_SAMPLES:,} samples.",
            hint="Send one setting a file, or log at a lower rate.",
        )
    clock = time is not None and layout.kinds[time] == "clock"
    raw = np.frombuffer(text, dtype=np.uint8)
    wanted = np.array([len(layout.kinds), -1 if time is None else time, vacuum], dtype=np.intp)
    cut = ord(layout.delimiter or "\0")
    found = kernels.cells.columns(raw, layout.start_byte, rows + 1, cut, layout.decimal == ",", wanted, clock)
    times, values, places, odd, wide = found

    def line_of(row: int) -> int:
        return layout.start_line + int(kernels.cells.lines_before(raw, layout.start_byte, row, cut))

    if wide.size:
        raise _wide_row(int(wide[1]), len(layout.kinds), line_of(int(wide[0])))
    if not values.size:
        raise no_table()
    stamped = Stamps(text, places.reshape(-1, 2)) if clock else None
    return _samples(stamped or (None if time is None else times), values, _words(text, odd), line_of)


def _wide_row(found: int, usual: int, line: int) -> ReadError:
    return ReadError(
        "ragged_row",
        f"A row holds {found} cells where the others hold {usual}.",
        line,
        "Check that line: a second recording, a stray delimiter or a cut may be there.",
    )


@dataclass(frozen=True, eq=False)
class _Words:
    """Rows whose vacuum is no number: over-range words, dashes, and words that mean nothing known."""

    over: Indices
    dashes: Indices
    stray: Indices
    first: str


def _words(text: bytes, odd: Indices) -> _Words:
    """Sort the odd cells, some thousand at a time; each different word is looked at once."""
    if not odd.size:
        return _Words(odd, odd, odd, "")
    places = odd.reshape(-1, 3)
    known: dict[bytes, int] = {}
    kind = np.empty(len(places), dtype=np.int8)
    for at in range(0, len(places), PORTION):
        words = [text[start:end] for start, end in places[at : at + PORTION, 1:].tolist()]
        for word in set(words) - known.keys():
            known[word] = KINDS.index(_kind(_decoded(word)))
        kind[at : at + PORTION] = [known[word] for word in words]
    over, dashes, stray = (places[kind == KINDS.index(name), 0] for name in ("over", "dashes", "stray"))
    first = places[int(np.argmax(kind == KINDS.index("stray")))]
    return _Words(over, dashes, stray, _decoded(text[first[1] : first[2]]) if stray.size else "")


def _decoded(word: bytes) -> str:
    return word.decode("utf-8", "replace").strip()


def _kind(word: str) -> str:
    if OVER_RANGE.match(word):
        return "over"
    if DASHES.match(word):
        return "dashes"
    return "nothing" if NOTHING.match(word) else "stray"


def _samples(
    times: Floats | Stamps | None, values: Floats, words: _Words, line_of: Callable[[int], int]
) -> Table:
    """The rows that are samples: remarks, repeated headers, a footer and a cut last line are not."""
    over, dashed = (_flags(values.size, rows) for rows in (words.over, words.dashes))
    finite = np.isfinite(values)
    if finite.all():
        return Table(times, values, over, dashed, line_of)
    over |= np.isinf(values)
    values = np.where(finite, values, np.nan)
    known = finite | over
    if words.stray.size and not _footer_or_header(words.stray, known, times):
        row = int(words.stray[0])
        raise ReadError(
            "not_a_number",
            f"The vacuum cell holds {words.first[:40]!r}, which is no number.",
            line_of(row),
            "Correct or remove that line.",
        )
    keep = ~_flags(values.size, words.stray)
    keep[_remarks(~known, times)] = False
    keep[int(np.flatnonzero(known)[-1]) + 1 if known.any() else 0 :] = False
    return _kept(Table(times, values, over, dashed, line_of), keep)


def _flags(size: int, rows: Indices) -> Flags:
    flags = np.zeros(size, dtype=bool)
    flags[rows] = True
    return flags


def _kept(table: Table, keep: Flags) -> Table:
    if keep.all():
        return table
    kept, times = np.flatnonzero(keep), table.time
    if isinstance(times, Stamps):
        times = Stamps(times.text, times.places[keep])
    elif times is not None:
        times = times[keep]

    def line_of(row: int) -> int | None:
        return table.line_of(int(kept[row])) if row < kept.size else None

    return Table(times, table.vacuum[keep], table.over_range[keep], table.dashed[keep], line_of)


def _remarks(unknown: Flags, times: Floats | Stamps | None) -> Indices:
    """Rows that have neither a number nor a time: remarks between the samples."""
    if times is None:
        return np.empty(0, dtype=np.intp)
    if not isinstance(times, Stamps):
        return np.flatnonzero(unknown & np.isnan(times))
    return np.array([row for row in np.flatnonzero(unknown).tolist() if _no_time(times, row)], dtype=np.intp)


def _footer_or_header(stray: Indices, known: Flags, times: Floats | Stamps | None) -> bool:
    """Whether the stray rows are a tail without numbers, or a few lines without a time either."""
    tail = not known[int(stray[0]) :].any()
    if tail or times is None:
        return tail
    return stray.size <= max(3, known.size // 100) and all(_no_time(times, row) for row in stray.tolist())


def _no_time(times: Floats | Stamps, row: int) -> bool:
    if not isinstance(times, Stamps):
        return bool(np.isnan(times[row]))
    word = times.word(row)
    return not any(sign.isdigit() for sign in word) or word[:1] in {"#", ";", "%"}
