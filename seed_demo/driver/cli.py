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


def show(*arguments: str) -> None:
    """Print a command line and what it prints. Raises DemoError when it does not end with 0."""
    tell(f"\n$ vacuary {shlex.join(arguments)}")
    _done(arguments, run(arguments))


def ask(*arguments: str) -> Any:
    """The JSON document that a command answers, printing nothing. Raises DemoError likewise."""
    printed = io.StringIO()
    with redirect_stdout(printed):
        code = run([*arguments, "--json"])
    _done(arguments, code)
    return json.loads(printed.getvalue())


def _done(arguments: Sequence[str], code: int) -> None:
    if code != 0:
        raise DemoError(f"vacuary {shlex.join(arguments)} ended with exit code {code}.")
