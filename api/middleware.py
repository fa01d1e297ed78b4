"""What happens to every request: it gets an identity, and its body a bound."""

import re
import secrets
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

from api.problems import problem

Next = Callable[[HttpRequest], HttpResponse]


class RequestIdentity:
    """Give each request an id, and tell the client the server's version and the clients it serves."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-Id", "")
        request.request_id = (  # type: ignore[attr-defined]
            given if re.fullmatch(r"[\w-]{8,64}", given) else secrets.token_hex(8)
        )
        response = self.get_response(request)
        response["X-Request-Id"] = request.request_id  # type: ignore[attr-defined]
        response["Vacuary-Version"] = settings.VERSION
        response["Vacuary-Clients"] = settings.CLIENT_VERSIONS
        return response


class BoundedBody:
    """Refuse a body that is larger than any upload may be before a byte of it is read."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "chunked" in request.headers.get("Transfer-Encoding", "").lower():
            return problem(
                request,
                "length_required",
                "The length of the body must be said",
                hint="Send the header Content-Length instead of a chunked body.",
            )
        length = request.META.get("CONTENT_LENGTH") or "0"
        if not re.fullmatch(r"[0-9]{1,18}", length):
            return problem(
                request,
                "malformed",
                "The header Content-Length is not a number",
                hint="Send the number of bytes of the body.",
            )
        if int(length) > settings.VACUARY_BODY_LIMIT:
            return _too_large(request)
        return self.get_response(request)


class Compressed(GZipMiddleware):
    """Compress answers for those who take it, but for one whose digest and length are already told."""

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Return the answer, compressed where that is of use."""
        if response.has_header("Repr-Digest"):
            return response
        compressed: HttpResponseBase = super().process_response(request, response)
        return compressed


def _too_large(request: HttpRequest) -> HttpResponse:
    """Only a form carries a trace; any other body is one of JSON."""
    if request.content_type == "multipart/form-data":
        megabytes = settings.VACUARY_TRACE_LIMIT // 2**20
        return problem(
            request,
            "too_large",
            f"A trace may have at most {megabytes} MiB",
            hint="Cut the recording, or log at a lower rate: 100 Hz serves all pumps.",
        )
    megabytes = settings.VACUARY_BODY_LIMIT // 2**20
    return problem(
        request,
        "too_large",
        f"A body may have at most {megabytes} MiB",
        hint="Send it in parts: a catalogue may be loaded one pump model at a time.",
    )
