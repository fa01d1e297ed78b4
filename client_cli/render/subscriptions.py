"""Subscriptions and what became of messages."""

from typing import Any

from rich.console import Console

from client_cli.render.console import counted, lines, table
from client_cli.render.runs import moment
from client_cli.text import clean, one_line

_NARROWED = ("model", "clinic", "rule")
_STATES = {
    "unconfirmed": "waits until the link in the message to it is followed",
    "paused": "paused",
    "active": "active",
}


def show_new(console: Console, document: dict[str, Any]) -> None:
    """A subscription that was made just now, with what is told only now."""
    show_subscriptions(console, {"results": [document]})
    if document.get("secret"):
        console.print(f"\nSecret: {clean(document['secret'])}", soft_wrap=True)
        console.print("It is shown this once. The receiver checks signatures with it.")
        if document.get("former_secret_until"):
            console.print(f"The former secret signs as well until {_when(document['former_secret_until'])}.")
    if document.get("feed"):
        console.print(f"\nFeed: {clean(document['feed'])}", soft_wrap=True)
        console.print("It is shown this once. Whoever has this address can read the feed.")


def show_subscriptions(console: Console, document: dict[str, Any]) -> None:
    """A list of subscriptions."""
    rows = table("No.", "Channel", "To", "Which alerts", "State")
    for one in document["results"]:
        rows.add_row(
            clean(one.get("id", "")),
            one_line(one.get("channel")),
            one_line(one.get("to")),
            _which(one),
            lines(_state(one), f"{counted(one.get('sequence', 0), 'message')} so far"),
        )
    console.print(rows if rows.row_count else "You have no subscription. Use `vacuary subscriptions add`.")


def show_replay(console: Console, document: dict[str, Any]) -> None:
    """How many messages go again."""
    console.print(f"{counted(document.get('again', 0), 'message')} sent again.")


def show_delivery(console: Console, document: dict[str, Any]) -> None:
    """What became of one message."""
    if document.get("state") == "delivered":
        console.print(f"Delivered {_when(document.get('delivered_at'))}.")
    elif document.get("last_error"):
        console.print(f"Not taken: {clean(document['last_error'])}.")
        console.print(f"It is tried again {_when(document.get('next_at'))}.")
    else:
        console.print("It waits for a worker of the server.")


def _which(one: dict[str, Any]) -> str:
    narrowed = [f"{name} {clean(one[name])}" for name in _NARROWED if one.get(name)]
    return lines(*(narrowed or ["all"]), f"from {one_line(one.get('severity'))} up")


def _state(one: dict[str, Any]) -> str:
    if one.get("state") == "ended":
        return f"ended: {clean(one.get('ended_why', ''))}"
    return _STATES.get(str(one.get("state")), one_line(one.get("state")))


def _when(value: Any) -> str:
    return moment(value).replace("\n", " ")
