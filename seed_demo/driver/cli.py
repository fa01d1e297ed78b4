"""The command line, called in this process as a person would type it."""

import io
import json
import os
import shlex
from collections.abc import Sequence
from contextlib import redirect_stdout
from typing import Any

from client_cli.main import run
from seed_demo.driver.home import DemoError, tell

HELD_OR_REFUSED = 3


def use(address: str, token: str | None) -> None:
    """Point the commands that follow at a server, signed in with a token or not at all."""
    os.environ["VACUARY_SERVER"] = address
    if token:
        os.environ["VACUARY_TOKEN"] = token
    else:
        os.environ.pop("VACUARY_TOKEN", None)


def show(*arguments: str, lines: int | None = None) -> None:
    """Print a command line and what it prints, or the first `lines` of it.

    Raises DemoError when it does not end with 0.
    """
    tell(f"\n$ vacuary {shlex.join(arguments)}")
    if lines is None:
        _done(arguments, run(arguments))
        return
    printed = _printed(arguments).rstrip().splitlines()
    for line in printed[:lines]:
        tell(line.rstrip())
    if len(printed) > lines:
        tell(f"  ... and {len(printed) - lines} more lines")


def ask(*arguments: str) -> Any:
    """The JSON document that a command answers, printing nothing. Raises DemoError likewise."""
    return json.loads(_printed([*arguments, "--json"]))


def _printed(arguments: Sequence[str]) -> str:
    printed = io.StringIO()
    with redirect_stdout(printed):
        code = run(list(arguments))
    _done(arguments, code)
    return printed.getvalue()


def _done(arguments: Sequence[str], code: int) -> None:
    if code != 0:
        raise DemoError(f"vacuary {shlex.join(arguments)} ended with exit code {code}.")
