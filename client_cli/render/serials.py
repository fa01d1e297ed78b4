"""Which revision a serial, or a range of serials, belongs to."""

from typing import Any

from rich.console import Console

from client_cli.numbers import percent
from client_cli.render.console import cautions, lines, says, table
from client_cli.text import clean, one_line

_REMARKS = 12


def show_serials(console: Console, document: dict[str, Any]) -> None:
    """The spans with revision, basis, what speaks for them and against them, and what is still missing."""
    says(console, document)
    _understood(console, document)
    rows = table("Serials", "Revision", "Basis", "Units", "Clinics", "Seen", "Sure", right=(3, 4))
    for span in document.get("spans") or []:
        rows.add_row(
            extent(span),
            clean(span.get("revision") or "unknown"),
            one_line(span.get("basis")),
            one_line(span.get("units")),
            one_line(span.get("clinics")),
            _seen(span),
            _sure(span),
        )
    if rows.row_count:
        console.print()
        console.print(rows)
    _remarks(console, document.get("spans") or [])
    cautions(console, document)


def _understood(console: Console, document: dict[str, Any]) -> None:
    """How what was typed was read, where that is not plain, and what the serials say of themselves."""
    taken = document.get("understood") or {}
    changes = [*(taken.get("changes") or []), *filter(None, [taken.get("why_this_scheme")])]
    if changes:
        first, last = one_line(taken.get("first")), one_line(taken.get("last"))
        read = first if first == last else f"{first} to {last}"
        told = "; ".join(one_line(change).rstrip(".") for change in changes)
        console.print(f"Typed {one_line(taken.get('typed'))}, read as {read}: {told}.")
    made = document.get("made") or {}
    where = [f"plant {one_line(document['plant'])}"] if document.get("plant") else []
    when = [f"{one_line(made['says'])} (year by {one_line(made.get('year_by'))})"] if made else []
    if where or when:
        console.print(f"By the serial, made: {', '.join([*when, *where])}.")


def _remarks(console: Console, spans: list[dict[str, Any]]) -> None:
    """What contradicts a stretch, and what would fill an unknown one, below the table."""
    told = []
    for span in spans:
        where = extent(span).replace("\n", " ")
        told += [f"{where}: {_conflict(item)}" for item in span.get("conflicts") or []]
        told += [f"{where}: {one_line(span['lacks'])}"] if span.get("lacks") else []
    if told:
        console.print()
    for line in told[:_REMARKS]:
        console.print(f"* {line}", highlight=False)
    if len(told) > _REMARKS:
        console.print(f"and {len(told) - _REMARKS} more; --json has them all.")


def _conflict(item: Any) -> str:
    return one_line(item.get("says") or item) if isinstance(item, dict) else one_line(item)


def _seen(span: dict[str, Any]) -> str:
    first, last = span.get("first_seen"), span.get("last_seen")
    if not first:
        return ""
    return one_line(first) if first == last else lines(one_line(first), f"to {one_line(last)}")


def _sure(span: dict[str, Any]) -> str:
    """The agreement of the sources; of an inferred stretch also the chance that nothing else lies in it."""
    chance = span.get("probability")
    agreed = _confidence(span.get("confidence"))
    return lines(agreed, f"all: {_confidence(chance)}") if chance is not None else agreed


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
    if value is None:
        return ""
    return percent(value) if isinstance(value, float) and 0 <= value <= 1 else one_line(value)
