"""The catalogue: what loading it changed, which pump models there are, and one of them in full."""

from collections.abc import Iterable
from typing import Any

from rich.console import Console

from client_cli.render.console import heading, lines, table
from client_cli.render.runs import setting
from client_cli.text import clean, one_line


def show_changes(console: Console, document: dict[str, Any]) -> None:
    """What a load created and changed; what stayed as it was is only counted."""
    rows = table("Action", "Kind", "Name")
    for change in document.get("changes") or []:
        if change.get("action") != "unchanged":
            kind = clean(change.get("kind", "")).replace("_", " ")
            rows.add_row(clean(change.get("action", "")), kind, one_line(change.get("name")))
    if rows.row_count:
        console.print(rows)
        console.print()
    words = [word for word in ("created", "changed", "removed", "unchanged") if word in document]
    if words:
        console.print(", ".join(f"{one_line(document[word])} {word}" for word in words) + ".")


def show_models(console: Console, document: dict[str, Any]) -> None:
    """The pump models, with their makers."""
    rows = table("Maker", "Pump model", "Revisions")
    for model in document["results"]:
        rows.add_row(one_line(_named(model.get("maker"))), clean(model.get("name", "")), _revisions(model))
    console.print(rows if rows.row_count else "The catalogue is empty.")


def show_model(console: Console, document: dict[str, Any]) -> None:
    """One pump model: revisions with their marks and spans, serial schemes, claims."""
    console.print(f"{clean(document.get('name', ''))}, sold by {one_line(_named(document.get('maker')))}")
    _show_revisions(console, document.get("revisions") or [])
    _show_spans(console, list(_spans(document)))
    _show_schemes(console, document.get("serial_schemes") or document.get("serial_scheme") or [])
    _show_claims(console, document.get("claims") or document.get("claim") or [])


def _named(value: Any) -> Any:
    return value.get("name") if isinstance(value, dict) else value


def _revisions(model: dict[str, Any]) -> str:
    revisions = model.get("revisions")
    if not isinstance(revisions, list):
        return one_line(revisions)
    return ", ".join(one_line(item.get("label") if isinstance(item, dict) else item) for item in revisions)


def _show_revisions(console: Console, revisions: list[dict[str, Any]]) -> None:
    heading(console, "Revisions")
    rows = table("Revision", "Firmware", "Marks")
    for revision in revisions:
        marks = revision.get("marks") or {}
        rows.add_row(
            clean(revision.get("label", "")),
            one_line(revision.get("firmware")),
            lines(*(f"{clean(mark)}: {one_line(look)}" for mark, look in marks.items())) or "-",
        )
    console.print(rows if rows.row_count else "None is known yet.")


def _spans(document: dict[str, Any]) -> Iterable[dict[str, Any]]:
    """Spans wherever the document keeps them: below each revision, or beside the revisions."""
    for revision in document.get("revisions") or []:
        for span in revision.get("spans") or revision.get("span") or []:
            yield {"revision": revision.get("label"), **span}
    yield from document.get("spans") or document.get("serial_spans") or []


def _show_spans(console: Console, spans: list[dict[str, Any]]) -> None:
    rows = table("First", "Last", "Revision", "Basis", "Source")
    for span in spans:
        rows.add_row(*(one_line(span.get(key)) for key in ("first", "last", "revision", "basis", "source")))
    _show_if_any(console, "Serial spans", rows)


def _show_schemes(console: Console, schemes: list[dict[str, Any]]) -> None:
    rows = table("Pattern", "In order of", "Date")
    for scheme in schemes:
        dated = scheme.get("date") or {}
        base = f" from {dated['base']}" if dated.get("base") else ""
        date = f"{one_line(dated.get('form'))} in {one_line(dated.get('group'))}{base}" if dated else "-"
        rows.add_row(clean(scheme.get("pattern", "")), one_line(scheme.get("order")), date)
    _show_if_any(console, "Serial numbers are read as", rows)


def _show_claims(console: Console, claims: list[dict[str, Any]]) -> None:
    rows = table("Metric", "Claim", "Setting", "Source")
    for claim in claims:
        said = " ".join(one_line(claim.get(key)) for key in ("relation", "value", "unit"))
        where = setting(claim)
        where = "any" if where == "-" else where
        rows.add_row(clean(claim.get("metric", "")), said, where, one_line(claim.get("source")))
    _show_if_any(console, "Claims", rows)


def _show_if_any(console: Console, title: str, rows: Any) -> None:
    if rows.row_count:
        heading(console, title)
        console.print(rows)
