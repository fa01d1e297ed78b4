"""The one place where outcomes and exceptions become exit codes."""

from enum import IntEnum

import typer

from client_cli.errors import ClientError, Fault, NotPermitted, Refused, Unreachable, WrongUse


class ExitCode(IntEnum):
    """What the shell is told; scripts branch on these, so they never change their meaning."""

    DONE = 0
    FAULT = 1
    USAGE = 2
    REFUSED = 3
    NOT_PERMITTED = 4
    UNREACHABLE = 5
    OPEN_ALERTS = 6
    INTERRUPTED = 130


_CODES: tuple[tuple[type[BaseException], ExitCode], ...] = (
    (KeyboardInterrupt, ExitCode.INTERRUPTED),
    (typer.Abort, ExitCode.INTERRUPTED),
    (WrongUse, ExitCode.USAGE),
    (NotPermitted, ExitCode.NOT_PERMITTED),
    (Refused, ExitCode.REFUSED),
    (Unreachable, ExitCode.UNREACHABLE),
    (Fault, ExitCode.FAULT),
    (ClientError, ExitCode.FAULT),
)


def code_for(error: BaseException) -> ExitCode:
    """The exit code of an exception; whatever is not known here is a fault of the program (1)."""
    for kind, code in _CODES:
        if isinstance(error, kind):
            return code
    return ExitCode.USAGE if is_usage_error(error) else ExitCode.FAULT


def is_usage_error(error: BaseException) -> bool:
    """Whether typer found the command line itself wrong.

    Known by its parts and not by its class, because typer has kept that class in different places.
    """
    return getattr(error, "exit_code", None) == ExitCode.USAGE and hasattr(error, "format_message")
