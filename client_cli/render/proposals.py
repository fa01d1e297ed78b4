"""Corrections of the catalogue and its history."""

from typing import Any

from rich.console import Console

from client_cli.render.catalogue import show_changes
from client_cli.render.console import heading, table
from client_cli.text import clean, one_line


def show_proposed(console: Console, document: dict[str, Any]) -> None:
    """What a file became, each with what it would change."""
    for proposal in document.get("results") or []:
        show_proposal(console, proposal)


def show_proposals(console: Console, document: dict[str, Any]) -> None:
    """All proposals, one a row."""
    rows = table("No.", "Pump model", "State", "Proposed by", "Why", "What it does", right=(0,))
    for proposal in document.get("results") or []:
        told = proposal.get("done") or proposal.get("foreseen") or {}
        rows.add_row(
            one_line(proposal.get("id")),
            clean(proposal.get("pump_model", "")),
            one_line(proposal.get("state")),
            one_line(proposal.get("proposed_by")).replace("/", "/\n", 1),
            one_line(proposal.get("why")),
            one_line(told.get("says")),
        )
    console.print(rows if rows.row_count else "Nothing was proposed.")


def show_proposal(console: Console, document: dict[str, Any]) -> None:
    """One proposal: its reason, its state, what it changes and what moves by it."""
    number, model = one_line(document.get("id")), clean(document.get("pump_model", ""))
    console.print(f"Proposal {number} for {model}: {one_line(document.get('why'))}")
    console.print(_state(document))
    if document.get("stale"):
        console.print(f"It does not apply any more: {one_line(document['stale'])}")
    told = document.get("done") or document.get("foreseen") or {}
    heading(console, "What it changed" if document.get("done") else "What it would change")
    counts = {"changes": told.get("changes") or []}
    show_changes(console, counts)
    console.print(one_line(told.get("says")))
    for overlap in told.get("overlaps") or []:
        console.print(f"* {one_line(overlap)}", highlight=False)
    if document.get("state") == "open":
        console.print(f"\nAnother curator confirms it: vacuary catalogue confirm {number}")


def _state(document: dict[str, Any]) -> str:
    said = f"{one_line(document.get('state'))}, proposed by {one_line(document.get('proposed_by'))}"
    if document.get("decided_by"):
        said += f", decided by {one_line(document['decided_by'])}"
    if document.get("decided_why"):
        said += f": {one_line(document['decided_why'])}"
    elif document.get("is_outdated"):
        said += "; the catalogue has changed since"
    return f"{said[:1].upper()}{said[1:]}."


def show_history(console: Console, document: dict[str, Any]) -> None:
    """What was done, newest first."""
    console.print(f"What was done to {clean(document.get('model', ''))}, newest first")
    rows = table("When", "What")
    for row in document.get("results") or []:
        rows.add_row(one_line(row.get("at"))[:16].replace("T", " "), one_line(row.get("says")))
    console.print(rows if rows.row_count else "Nothing was done yet.")
    if document.get("next"):
        console.print("There is more: ask with --rows.")
