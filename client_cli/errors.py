"""What can go wrong for the person at the command line, one class a kind of trouble.

`client_cli.exits` gives each its exit code; `client_cli.render.errors` puts it into words.
"""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Problem:
    """A problem document (RFC 9457) as the server sent it; unknown members are kept in `document`."""

    status: int
    code: str
    detail: str
    hint: str = ""
    errors: tuple[dict[str, Any], ...] = ()
    nearest: tuple[str, ...] = ()
    request_id: str = ""
    document: dict[str, Any] = field(default_factory=dict)


class ClientError(Exception):
    """Anything the client can explain: `message` says what, `hint` says what to do about it."""

    def __init__(self, message: str, hint: str = "", problem: Problem | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.problem = problem


class WrongUse(ClientError):
    """The command, a file named in it or the configuration cannot be used as given; nothing was sent."""


class NotPermitted(ClientError):
    """The server wants another token (401) or does not allow this one (403)."""


class Refused(ClientError):
    """The server understood the request and refused the input."""


class Unreachable(ClientError):
    """No usable answer came back within the time allowed."""


class Fault(ClientError):
    """The server or this client failed. With a `problem` the fault concerns one request only."""


class WrongVersion(Fault):
    """The server does not serve this version of the client."""
