"""The two consoles and the table that all commands share.

Markup is off everywhere: square brackets in a note or a file name are only brackets. Cells fold and are never
clipped, so that what a person needs is always there to read or copy.
"""

import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import IO, Any, TextIO

from rich import box
from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderHook, RenderResult
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from client_cli.text import clean, one_line

Cell = str | Text


def answers() -> Console:
    """The console for answers, on stdout as it is now."""
    return console_on(sys.stdout)


def remarks() -> Console:
    """The console for progress, remarks and errors, on stderr as it is now.

    It is the same one for as long as stderr is, so a remark goes above a progress bar and not through it.
    """
    return _remarks_on(sys.stderr)


@lru_cache(maxsize=1)
def _remarks_on(stream: TextIO) -> Console:
    return console_on(stream)


def console_on(stream: IO[str], width: int | None = None) -> Console:
    """A console that writes to a stream, no line of it ending in blanks; `width` is the terminal's."""
    made = Console(file=stream, width=width, markup=False, highlight=False, emoji=False)
    made.push_render_hook(_Trimming())
    return made


class _Trimming(RenderHook):
    """Folded text and tables come filled up with blanks; in a file or a pipe these would stay."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Trimmed(one) for one in renderables]


@dataclass(frozen=True)
class _Trimmed:
    """Something shown without the blanks before its line ends."""

    shown: ConsoleRenderable

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        line: list[Segment] = []
        for text, style, control in console.render(self.shown, options):
            *ended, rest = [text] if control else text.split("\n")
            for part in ended:
                yield from _without_blanks([*line, Segment(part, style)])
                yield Segment.line()
                line = []
            line.append(Segment(rest, style, control))
        yield from line


def _without_blanks(line: list[Segment]) -> list[Segment]:
    kept = list(line)
    while kept and not kept[-1].control:
        text, style, _ = kept.pop()
        if text.rstrip(" "):
            return [*kept, Segment(text.rstrip(" "), style)]
    return kept


def can_show(console: Console, text: str) -> bool:
    """Whether the terminal has these letters."""
    try:
        text.encode(console.encoding)
    except UnicodeEncodeError:
        return False
    return True


def table(
    *headings: str,
    right: Iterable[int] = (),
    widest: dict[int, int] | None = None,
    whole: Iterable[int] = (),
) -> Table:
    """An empty table with these headings; `right` lists columns to align so, `widest` limits widths.

    The columns in `whole` are never folded while others can be.
    """
    made = Table(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False, padding=(0, 2, 0, 0), expand=False)
    right, whole = set(right), set(whole)
    for index, heading in enumerate(headings):
        made.add_column(
            Text(heading),
            justify="right" if index in right else "left",
            overflow="fold",
            vertical="top",
            no_wrap=index in whole,
            max_width=(widest or {}).get(index),
        )
    return made


def lines(*parts: str) -> str:
    """Several short lines in one cell."""
    return "\n".join(part for part in parts if part)


def counted(number: Any, noun: str) -> str:
    """A number with its noun: 1 unit, 2 units."""
    return f"{one_line(number)} {noun}" + ("" if number == 1 else "s")


def thin(row: dict[str, Any]) -> list[str]:
    """Short lines saying that a row is thin and what it lacks; none where it is not."""
    if row.get("state") != "thin":
        return []
    missing = [clean(part) for part in str(row.get("missing") or "").split(",") if part.strip()]
    return ["thin: needs", *missing] if missing else ["thin"]


def grouped(rows: Iterable[dict[str, Any]], keys: Iterable[str]) -> list[list[dict[str, Any]]]:
    """Rows that are alike in these keys put together, in the order in which the first of each comes."""
    names = tuple(keys)
    found: dict[tuple[str, ...], list[dict[str, Any]]] = {}
    for row in rows:
        found.setdefault(tuple(one_line(row.get(name)) for name in names), []).append(row)
    return list(found.values())


def heading(console: Console, text: str) -> None:
    """A line in bold after an empty one."""
    console.print()
    console.print(Text(clean(text), style="bold"))


def indented(console: Console, text: str, by: int = 2) -> None:
    """Text wrapped within an indent."""
    console.print(Padding(Text(clean(text)), (0, 0, 0, by)))


def says(console: Console, document: dict[str, Any]) -> None:
    """The answer in one line of plain words, when the server gives one."""
    if document.get("says"):
        console.print(Text(clean(document["says"]), style="bold"))


def cautions(console: Console, document: dict[str, Any]) -> None:
    """The cautions, and what the answer rests on."""
    listed = document.get("cautions") or []
    if listed:
        console.print()
    for caution in listed:
        console.print(Text.assemble(("Caution: ", "yellow"), clean(caution)))
    basis = []
    if document.get("edition") is not None:
        basis.append(f"Edition {clean(document['edition'])} of the metrics")
    if document.get("as_of"):
        basis.append(f"as of {clean(document['as_of'])}")
    if basis:
        console.print()
        console.print(Text(", ".join(basis) + ".", style="dim"))
