"""Problem documents (RFC 9457): every refusal has a stable code, the field or line at fault, and a hint."""

import logging
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import Any

from django.core.exceptions import (
    DisallowedHost,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
    TooManyFieldsSent,
    TooManyFilesSent,
)
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponseBase, JsonResponse
from procrastinate.exceptions import ConnectorException
from rest_framework import exceptions

from registry.errors import DomainError, Fault

log = logging.getLogger(__name__)

CONTENT_TYPE = "application/problem+json"

# The one place where a code meets a status.
STATUS: dict[str, int] = {
    "malformed": 400,
    "not_signed_in": 401,
    "not_permitted": 403,
    "not_found": 404,
    "not_measured": 404,
    "unknown_edition": 404,
    "method_not_allowed": 405,
    "not_acceptable": 406,
    "conflict": 409,
    "spans_overlap": 409,
    "proposal_stale": 409,
    "length_required": 411,
    "too_large": 413,
    "unsupported_media_type": 415,
    "invalid": 422,
    "side_needed": 422,
    "unreadable_trace": 422,
    "unknown_provenance_key": 422,
    "unknown_pump_model": 422,
    "too_many_requests": 429,
    "fault": 500,
    "unavailable": 503,
}

# What to do about a refusal whose own words do not say it.
_HINTS: dict[str, str] = {
    "malformed": "The body could not be read; send it as the schema says.",
    "not_signed_in": "Send the header 'Authorization: Token TOKEN'.",
    "not_permitted": "Ask somebody with that role.",
    "not_found": "Check the address and the number in it.",
    "method_not_allowed": "The header Allow names the methods; see /api/v1/schema.",
    "not_acceptable": "Ask for application/json.",
    "unsupported_media_type": "See /api/v1/schema for what can be sent.",
    "unavailable": "Try again in a moment.",
    "conflict": "Look at what is stored before sending it again.",
    "too_large": "Send less at once.",
}
_NO_RECORD = "Nothing is kept under this address"
_INVALID = "Correct what is named under 'errors' and send it again; nothing was stored."
_ASK_AGAIN = "Correct that and ask again."

_CODES: tuple[tuple[type[Exception], str], ...] = (
    (exceptions.NotAuthenticated, "not_signed_in"),
    (exceptions.AuthenticationFailed, "not_signed_in"),
    (exceptions.PermissionDenied, "not_permitted"),
    (PermissionDenied, "not_permitted"),
    (exceptions.NotFound, "not_found"),
    (Http404, "not_found"),
    (exceptions.MethodNotAllowed, "method_not_allowed"),
    (exceptions.NotAcceptable, "not_acceptable"),
    (exceptions.UnsupportedMediaType, "unsupported_media_type"),
    (exceptions.ParseError, "malformed"),
    (OperationalError, "unavailable"),
    (ConnectorException, "unavailable"),
)

# What Django refuses by itself; its own words name settings, so they are said anew.
_REFUSED_BY_DJANGO: tuple[tuple[type[Exception], str, str, str], ...] = (
    (
        TooManyFilesSent,
        "malformed",
        "The form holds too many files",
        "Send no more files in a form than /api/v1/schema says.",
    ),
    (TooManyFieldsSent, "malformed", "The form holds too many fields", "Send 'trace' and 'provenance' only."),
    (RequestDataTooBig, "too_large", "The body is too large", "Send less at once."),
    (
        DisallowedHost,
        "malformed",
        "This server does not answer to that host name",
        "Use the address its keeper gave; a keeper adds names in VACUARY_HOSTS.",
    ),
    (Exception, "malformed", "The request could not be read", "Send it as /api/v1/schema says."),
)


def problem(
    request: HttpRequest,
    code: str,
    title: str,
    *,
    detail: str = "",
    hint: str = "",
    faults: tuple[Fault, ...] = (),
    extra: Mapping[str, Any] | None = None,
) -> JsonResponse:
    """Return the problem document for `code`."""
    document = {
        "type": f"urn:vacuary:problem:{code}",
        "title": title,
        "status": STATUS[code],
        "code": code,
        "detail": detail or title,
        "hint": hint or _HINTS.get(code, _ASK_AGAIN if request.method in ("GET", "HEAD") else _INVALID),
        "errors": [fault.as_dict() for fault in faults],
        "request_id": getattr(request, "request_id", ""),
        **(extra or {}),
    }
    response = JsonResponse(document, status=STATUS[code], content_type=CONTENT_TYPE)
    if code in ("unavailable", "too_many_requests"):
        response["Retry-After"] = "2"
    return response


def handle(error: Exception, context: dict[str, Any]) -> HttpResponseBase | None:
    """Django REST framework's exception handler: any refusal becomes a problem document.

    Returns None for what nobody foresaw; Django then answers with `fault`.
    """
    request = context["request"]._request  # noqa: SLF001 - the identity lives on Django's own request
    if isinstance(error, DomainError):
        return problem(
            request,
            error.code,
            error.title,
            detail=error.detail,
            hint=error.hint,
            faults=error.faults,
            extra=error.extra,
        )
    if isinstance(error, exceptions.ValidationError):
        faults = tuple(_faults(error.detail))
        detail = "; ".join(f"{f.field}: {f.message}" if f.field else f.message for f in faults)
        return problem(
            request,
            "invalid",
            "The input is not valid",
            detail=detail,
            faults=faults,
        )
    if isinstance(error, SuspiciousOperation):
        return bad_request(request, error)
    response = _framework_problem(request, error)
    if response is not None and isinstance(error, exceptions.MethodNotAllowed):
        response["Allow"] = ", ".join(context["view"].allowed_methods)
    return response


def _framework_problem(request: HttpRequest, error: Exception) -> HttpResponseBase | None:
    for kind, code in _CODES:
        if isinstance(error, kind):
            # Of a record that is not there the framework names the class, which tells people nothing.
            own_words = _NO_RECORD if isinstance(error, Http404) else str(error)
            detail = "" if code == "unavailable" else own_words
            bad_token = isinstance(error, exceptions.AuthenticationFailed)
            hint = "Ask the registry's keeper for a new token." if bad_token else ""
            response = problem(request, code, HTTPStatus(STATUS[code]).phrase, detail=detail, hint=hint)
            if code == "not_signed_in":
                response["WWW-Authenticate"] = "Token"
            if code == "unavailable":
                log.error("database unavailable: %s", error)
            return response
    return None


def _faults(detail: Any, path: str = "") -> Iterator[Fault]:
    """Flatten the framework's nested errors to one fault for each field, with its path."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            yield from _faults(inner, _place(path, key))
    elif isinstance(detail, list) and any(isinstance(inner, Mapping | list) for inner in detail):
        for index, inner in enumerate(detail):
            yield from _faults(inner, f"{path}[{index}]")
    elif isinstance(detail, list):
        yield from (Fault(str(text), field=path or None) for text in detail)
    else:
        yield Fault(str(detail), field=path or None)


def _place(path: str, key: str | int) -> str:
    """The path of a field, or of the nth entry of a list."""
    if key == "non_field_errors":
        return path
    if isinstance(key, int):
        return f"{path}[{key}]"
    return f"{path}.{key}" if path else key


def bad_request(request: HttpRequest, exception: Exception) -> JsonResponse:
    """Django's handler for a request it refuses before any view sees it."""
    code, title, hint = next(words for kind, *words in _REFUSED_BY_DJANGO if isinstance(exception, kind))
    return problem(request, code, title, hint=hint)


def not_found(request: HttpRequest, exception: Exception) -> JsonResponse:  # noqa: ARG001
    """Django's handler for an address nobody serves."""
    return problem(request, "not_found", "Nothing is there", hint="See /api/v1/schema for what can be asked.")


def fault(request: HttpRequest) -> JsonResponse:
    """Django's handler for a fault of the program; what happened is in the server's log."""
    return problem(
        request,
        "fault",
        "A fault of the server",
        hint="Nothing was stored. Try again; if it stays, tell the registry's keeper the request id.",
    )
