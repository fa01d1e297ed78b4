"""Finding the server: `connect` and `health`."""

import getpass
import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli import __version__, config
from client_cli.commands.common import Call, Globals, JsonOption, answering
from client_cli.exits import ExitCode
from client_cli.text import clean, one_line

if TYPE_CHECKING:
    from rich.console import Console


def connect(
    ctx: typer.Context,
    server: Annotated[str, typer.Argument(metavar="SERVER", help="Address, such as https://vacuary.example")],
    *,
    as_json: JsonOption = False,
) -> ExitCode:
    """Remember a server, and your token for it.

    The token is asked for, or read from the first line of standard input, so that it stays out of the
    shell's history. Server and token are checked before anything is written. Without a token you can still
    ask questions that need no account.
    """
    given = ctx.find_object(Globals) or Globals()
    call = Call(server, None, given.patience_s, as_json or given.as_json)
    address = config.address(server)
    token = config.token(_ask_for_token())
    if token and config.is_in_the_clear(address):
        call.remark(
            "Caution: this address is not encrypted, so your token can be read on the way. Use https."
        )
    document = _checked(call, address, token)
    path = config.config_path()
    config.save(config.Target(address, token or None), path)
    call.answer({**document, "server": address, "config": str(path), "token": bool(token)}, _show_connected)
    return ExitCode.DONE


def _ask_for_token() -> str:
    if _is_terminal():
        return getpass.getpass("Token (empty for none; it is not shown): ")
    return sys.stdin.readline()


def _is_terminal() -> bool:
    return sys.stdin.isatty()


def _checked(call: Call, address: str, token: str) -> dict[str, Any]:
    """The server's health, once it has also taken the token."""
    with call.session_with(config.Target(address, token or None)) as session:
        document = session.get("health")
        if token:
            session.get("runs", {"page_size": 1})  # a token that is not known is refused everywhere
    return document


def _show_connected(console: "Console", document: dict[str, Any]) -> None:
    known = "with your token" if document["token"] else "without a token"
    console.print(f"Connected to {clean(document['server'])} {known}. Written to {document['config']}.")


@answering
def health(call: Call) -> ExitCode:
    """Ask whether the server is there and serves this client."""
    with call.session() as session:
        document = session.get("health")
        call.answer(document, lambda console, answer: _show_health(console, answer, session.server))
    return ExitCode.DONE


def _show_health(console: "Console", document: dict[str, Any], server: str) -> None:
    console.print(f"{server}: {one_line(document.get('status'))}")
    console.print(
        f"It runs version {one_line(document.get('version'))} and serves clients "
        f"{one_line(document.get('clients'))}; this client is {__version__}."
    )
