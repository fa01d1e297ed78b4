"""Which revision a serial, or a range of serials, belongs to."""

from typing import Any

from rich.console import Console

from client_cli.render.console import cautions, lines, says, table
from client_cli.text import clean, one_line


def show_serials(console: Console, document: dict[str, Any]) -> None:
    """The spans with revision, basis, what speaks for them, and what speaks against them."""
    says(console, document)
    rows = table("Serials", "Revision", "Basis", "Units", "Clinics", "Confidence", "Conflicts", right=(3, 4))
    for span in document.get("spans") or []:
        rows.add_row(
            extent(span),
            clean(span.get("revision") or "unknown"),
            one_line(span.get("basis")),
            one_line(span.get("units")),
            one_line(span.get("clinics")),
            _confidence(span.get("confidence")),
            _conflicts(span.get("conflicts") or []),
        )
    if rows.row_count:
        console.print()
        console.print(rows)
    cautions(console, document)


def extent(span: dict[str, Any]) -> str:
    """A span's first and last serial, below each other; one when they are the same.

    An end that itself belongs to the neighbouring span is written as `after` or `before` it.
    """
    first, last = one_line(span.get("first")), one_line(span.get("last"))
    after, before = bool(span.get("first_excluded")), bool(span.get("last_excluded"))
    if first == last and not (after or before):
        return first
    return lines(f"after {first}" if after else first, f"before {last}" if before else f"to {last}")


def _confidence(value: Any) -> str:
    return f"{100 * value:.0f} %" if isinstance(value, float) and 0 <= value <= 1 else one_line(value)


def _conflicts(conflicts: list[Any]) -> str:
    told = (item.get("says") or item if isinstance(item, dict) else item for item in conflicts)
    return lines(*(one_line(item) for item in told)) or "none"
