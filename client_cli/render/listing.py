"""Show the proposal that lists a revision from an alert."""

from typing import Any

from rich.console import Console

from client_cli.text import clean


def show_listing(console: Console, document: dict[str, Any]) -> None:
    """Print the spans to come and to go, and what they would change."""
    change = document["change"]
    for sign, spans in (("-", change.get("dropped_spans", ())), ("+", change.get("spans", ()))):
        for span in spans:
            told = f"{sign} {span['first']} to {span['last']}  {span['revision']}  {span['basis']}"
            console.print(clean(told), markup=False, highlight=False)
    console.print(clean(document["says"]), markup=False, highlight=False)
