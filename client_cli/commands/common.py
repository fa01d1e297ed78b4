"""What every command shares: its options, its session with the server, and how it answers."""

import inspect
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli import config
from client_cli.errors import ClientError
from client_cli.exits import ExitCode
from client_cli.provenance import KEYS, Key
from client_cli.text import clean

if TYPE_CHECKING:
    from rich.console import Console

    from client_cli.session import Session

CONNECTION = "Connection and output"
ServerOption = Annotated[
    str | None, typer.Option("--server", metavar="URL", help="Server.", rich_help_panel=CONNECTION)
]
TokenOption = Annotated[
    str | None, typer.Option("--token", metavar="TOKEN", help="Token.", rich_help_panel=CONNECTION)
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print the server's document.", rich_help_panel=CONNECTION)
]


@dataclass(frozen=True)
class Globals:
    """What was given before the command."""

    server: str | None = None
    token: str | None = None
    patience_s: float = config.DEFAULT_PATIENCE_S
    as_json: bool = False


@dataclass(frozen=True)
class Call:
    """One running command: where it talks to, as whom, for how long, and whether it answers in JSON."""

    server: str | None
    token: str | None
    patience_s: float
    as_json: bool

    def target(self) -> config.Target:
        """The server and token, with the configuration file consulted. Raises WrongUse."""
        path = config.config_path()
        target = config.resolve(self.server, self.token, path)
        if target.token and not self.token and config.readable_by_others(path):
            self.remark(f"Others on this computer can read your token in {path}: chmod 600 it.")
        return target

    def session(self) -> "Session":
        """A session with the server; it says on stderr when it waits to try again."""
        return self.session_with(self.target())

    def session_with(self, target: config.Target) -> "Session":
        """A session with this server and token, whatever is configured."""
        from client_cli.session import Session

        return Session(target.server, target.token, patience_s=self.patience_s, tell=self._tell_wait)

    def answer(self, document: Any, show: "Callable[[Console, Any], None]") -> None:
        """Print the answer on stdout: the document itself with --json, otherwise what `show` makes of it."""
        if self.as_json:
            print_json(document)
            return
        from client_cli.render.console import answers

        show(answers(), document)

    def remark(self, text: str) -> None:
        """Say something on stderr that is not the answer."""
        from client_cli.render.console import remarks

        remarks().print(clean(text))

    def report(self, error: ClientError, about: str = "") -> None:
        """Say on stderr what went wrong without ending the command."""
        from client_cli.render.console import remarks
        from client_cli.render.errors import show_error

        if about:
            self.remark(f"{about}:")
        show_error(remarks(), error)

    def _tell_wait(self, why: str, wait_s: float) -> None:
        after = f"{wait_s:.0f} s" if wait_s >= 1 else "a moment"
        self.remark(f"The server: {why}. Trying again in {after}.")


def print_json(document: Any) -> None:
    """One JSON document on stdout; letters beyond ASCII stay themselves where the terminal can show them."""
    unicode_out = (sys.stdout.encoding or "").lower().replace("-", "").startswith("utf")
    sys.stdout.write(json.dumps(document, indent=2, ensure_ascii=not unicode_out, default=str) + "\n")
    sys.stdout.flush()


def answering(function: Callable[..., ExitCode]) -> Callable[..., ExitCode]:
    """Make a command of a function whose first argument is a Call.

    Adds --server, --token and --json, so that they may also stand after the command's own name.
    """

    @wraps(function)
    def command(
        ctx: typer.Context, *, server: str | None, token: str | None, as_json: bool, **rest: Any
    ) -> ExitCode:
        given = ctx.find_object(Globals) or Globals()
        call = Call(server or given.server, token or given.token, given.patience_s, as_json or given.as_json)
        return function(call, **rest)

    own = list(inspect.signature(function).parameters.values())[1:]
    _set_signature(
        command,
        [
            _parameter("ctx", typer.Context, inspect.Parameter.empty),
            *own,
            _parameter("server", ServerOption, None),
            _parameter("token", TokenOption, None),
            _parameter("as_json", JsonOption, default=False),
        ],
    )
    return command


def with_provenance(function: Callable[..., ExitCode]) -> Callable[..., ExitCode]:
    """Add an option for every provenance key and hand them to `function` as the mapping `given`."""
    return with_keys(KEYS)(function)


def with_keys(keys: Sequence[Key]) -> Callable[[Callable[..., ExitCode]], Callable[..., ExitCode]]:
    """Make a decorator that does the same with some of the keys."""

    def decorated(function: Callable[..., ExitCode]) -> Callable[..., ExitCode]:
        @wraps(function)
        def gathered(call: Call, **rest: Any) -> ExitCode:
            given = {key.name: rest.pop(key.name) for key in keys}
            return function(call, given=given, **rest)

        own = [item for item in inspect.signature(function).parameters.values() if item.name != "given"]
        options = [_parameter(key.name, _provenance_option(key.name, key.help), None) for key in keys]
        _set_signature(gathered, [*own, *options])
        return gathered

    return decorated


def _provenance_option(name: str, text: str) -> Any:
    flag = f"--{name.replace('_', '-')}"
    return Annotated[
        str | None, typer.Option(flag, metavar="TEXT", help=text, rich_help_panel="Where it came from")
    ]


def _parameter(name: str, annotation: Any, default: Any) -> inspect.Parameter:
    return inspect.Parameter(name, inspect.Parameter.KEYWORD_ONLY, annotation=annotation, default=default)


def _set_signature(function: Callable[..., Any], parameters: list[inspect.Parameter]) -> None:
    """Give a function the signature from which typer reads its options."""
    keyword_only = [item.replace(kind=inspect.Parameter.KEYWORD_ONLY) for item in parameters]
    function.__signature__ = inspect.Signature(keyword_only)  # type: ignore[attr-defined]
    function.__annotations__ = {item.name: item.annotation for item in keyword_only}
    del function.__wrapped__  # type: ignore[attr-defined] # get_type_hints would look behind the signature
