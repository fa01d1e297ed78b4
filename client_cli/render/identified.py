"""Which revision a pump is: how likely each is, and what each piece of evidence says and weighs."""

from typing import Any

from rich.console import Console

from client_cli.numbers import is_number
from client_cli.render.console import cautions, says, table
from client_cli.text import clean

_NONE = "none of these"
_KINDS = {"purchased": "purchase"}


def show_identified(console: Console, document: dict[str, Any]) -> None:
    """The verdict in a line, how likely each revision is, then the evidence, a row a piece."""
    says(console, document)
    rows = table("Revision", "How likely", right=(1,))
    for row in document.get("revisions") or []:
        rows.add_row(clean(row.get("revision") or _NONE), in_a_hundred(row.get("probability")))
    if rows.row_count:
        console.print()
        console.print(rows)
    _show_evidence(console, document.get("evidence") or [])
    cautions(console, document)


def _show_evidence(console: Console, pieces: list[dict[str, Any]]) -> None:
    if not pieces:
        return
    rows = table("Evidence", "What it means", "Weight", widest={0: 22, 2: 20})
    for piece in pieces:
        kind = clean(piece.get("kind"))
        rows.add_row(
            f"{_KINDS.get(kind, kind)}: {clean(piece.get('said'))}",
            clean(piece.get("says")),
            clean(piece.get("weight")),
        )
    console.print()
    console.print(rows)
    console.print()
    console.print("Weight: how it bears on the likeliest revision and its rival.")


def odds(document: dict[str, Any]) -> str:
    """How likely the likeliest are, in one line: "revision B 88 in 100, revision A 10 in 100"."""
    told = []
    for row in (document.get("revisions") or [])[:3]:
        name = f"revision {clean(row['revision'])}" if row.get("revision") else _NONE
        told.append(f"{name} {in_a_hundred(row.get('probability'))}")
    return ", ".join(told)


def in_a_hundred(chance: Any) -> str:
    """A chance as people count."""
    if not is_number(chance):
        return "not known"
    if chance > 0.99:
        return "more than 99 in 100"
    return "less than 1 in 100" if chance < 0.01 else f"{100 * chance:.0f} in 100"
