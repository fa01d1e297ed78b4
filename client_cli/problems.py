"""From an HTTP answer that is not a success to an exception the person can act on."""

from collections.abc import Mapping
from typing import Any

from client_cli.errors import ClientError, Fault, NotPermitted, Problem, Refused
from client_cli.text import clean

_SIGN_IN = "Ask whoever runs the server for a token, then run `vacuary connect SERVER`."


def from_answer(status: int, content_type: str, document: Any, location: str = "") -> ClientError:
    """The exception for an answer with this status and body (parsed JSON, or None when it was not JSON)."""
    if 300 <= status < 400:
        return Fault(
            f"The server sends this request on to {clean(location) or 'another address'}.",
            "Use that address as the server, with --server or `vacuary connect`.",
        )
    problem = read_problem(status, document) if "json" in content_type else None
    if problem is None:
        return _without_document(status)
    if status == 401:  # the server's hint speaks of headers, which nobody types here
        return NotPermitted(problem.detail, _SIGN_IN, problem)
    if status == 403:
        return NotPermitted(problem.detail, problem.hint, problem)
    if status < 500:
        return Refused(problem.detail, problem.hint, problem)
    return Fault(problem.detail, problem.hint or "Try again later; tell whoever runs the server.", problem)


def read_problem(status: int, document: Any) -> Problem | None:
    """The problem document in this body, or None when it is not one (it has no `code`)."""
    if not isinstance(document, Mapping) or not isinstance(document.get("code"), str):
        return None
    return Problem(
        status=status,
        code=clean(document["code"]),
        detail=clean(document.get("detail") or document.get("title") or document["code"]),
        hint=clean(document.get("hint") or ""),
        errors=tuple(item for item in _list(document.get("errors")) if isinstance(item, dict)),
        nearest=tuple(clean(name) for name in _list(document.get("nearest"))),
        request_id=clean(document.get("request_id") or ""),
        document=dict(document),
    )


def _list(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def _without_document(status: int) -> ClientError:
    if status in (401, 403):
        return NotPermitted(f"The server does not allow this (HTTP {status}).", _SIGN_IN)
    if status == 413:
        return Refused("The server takes no file of this size (HTTP 413).", "Shorten or thin the recording.")
    return Fault(
        f"The answer (HTTP {status}) is not one that a Vacuary server gives.",
        "Check the address of the server with `vacuary health`.",
    )
