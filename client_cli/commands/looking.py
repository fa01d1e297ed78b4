"""Looking before storing: how the server reads the first file of each form, and whether to go on."""

import sys
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import typer
from rich.text import Text

from client_cli.commands.common import Call
from client_cli.errors import Refused
from client_cli.journal import Journal, digest, digest_of_provenance
from client_cli.layout import look_of
from client_cli.manifest import Row
from client_cli.render.console import remarks
from client_cli.render.readings import alike, show_reading
from client_cli.session import Session
from client_cli.text import clean
from client_cli.upload import Outcome, read_trace

# A file looked at goes over the line twice, so of many forms only some are: four, or one run in twenty.
_FEW, _ONE_IN = 4, 20


@dataclass
class Looks:
    """The readings that were shown, so that each is shown once, and how many runs are to be stored."""

    shown: set[tuple[str, ...]] = field(default_factory=set)
    fresh: int = 0

    def show(self, name: str, read: dict[str, Any], more: str = "") -> None:
        """Show how a file was read, unless another was read alike."""
        key = alike(read)
        if key in self.shown:
            return
        self.shown.add(key)
        console = remarks()
        console.print(Text(f"{clean(name)}{more} is read as", style="bold"))
        show_reading(console, read)


def look(session: Session, rows: Sequence[Row], journal: Journal | None) -> Looks:
    """Measure the first new file of each form and show on stderr how it is read. Stores nothing.

    With a `journal`, what was acknowledged before is passed over. Raises NotPermitted, Unreachable or Fault.
    """
    looks = Looks()
    forms: dict[Hashable, list[Row]] = {}
    for row in rows:
        if not _is_known(row, journal):
            forms.setdefault(look_of(row), []).append(row)
    looks.fresh = sum(map(len, forms.values()))
    most = max(_FEW, len(rows) // _ONE_IN)
    for alike_rows in list(forms.values())[:most]:
        _look_at(session, alike_rows, looks)
    if len(forms) > most:
        remarks().print(f"{len(forms) - most} more forms of file are shown as they are stored.")
    return looks


def _is_known(row: Row, journal: Journal | None) -> bool:
    try:
        trace = digest(read_trace(row.file)) if journal is not None else ""
    except Refused:
        return True  # it will not be sent, and the upload says why
    return journal is not None and journal.find(trace, digest_of_provenance(row.provenance)) is not None


def _look_at(session: Session, rows: Sequence[Row], looks: Looks) -> None:
    first = rows[0]
    more = f" (and {len(rows) - 1} more of its form)" if len(rows) > 1 else ""
    try:
        document = session.post_trace("measure", first.file.name, read_trace(first.file), first.provenance)
    except Refused as error:
        remarks().print(clean(f"{first.name}{more} will be refused: {error.message} {error.hint}"))
        return
    if document.document.get("sides"):
        remarks().print(clean(f"{first.name}{more} holds both sides and will be refused: say side both."))
    channels = document.document.get("channels")
    if first.halved and isinstance(channels, list) and len(channels) == 1:
        remarks().print(
            clean(f"{first.name}{more} holds one side only: leave side empty, or the other one will be held.")
        )
    for side, read in _readings(document.document):
        looks.show(f"{first.name}{side}", read, more)


def _readings(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    sides = document.get("sides") or {"": document}
    for side, told in sides.items():
        if isinstance(told.get("read"), dict):
            yield (f" ({side})" if side else ""), told["read"]


def show_unforeseen(looks: Looks, outcomes: Sequence[Outcome]) -> None:
    """Show on stderr what was read otherwise than anything shown before it was stored."""
    for outcome in outcomes:
        if outcome.read and not outcome.skipped:
            looks.show(outcome.row.name, outcome.read)


def is_wanted(call: Call, count: int) -> bool:
    """Whether to store so many new runs: asked on a terminal, taken as said anywhere else."""
    if call.as_json or not count or not _is_terminal():
        return True
    runs = "this run" if count == 1 else f"these {count} runs"
    typer.echo(f"Store {runs}? [y/N] ", nl=False, err=True)
    return sys.stdin.readline().strip().casefold() in ("y", "yes")


def _is_terminal() -> bool:
    return sys.stdin.isatty()
