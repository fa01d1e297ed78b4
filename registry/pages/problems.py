"""Pages for what went wrong."""

from django.http import HttpRequest, HttpResponse

from registry.pages.answering import message


def not_found(request: HttpRequest) -> HttpResponse:
    """Nobody serves this address."""
    return message(request, "Nothing is here", "Check the address, or begin at the front page.", status=404)


def forged(request: HttpRequest, reason: str = "") -> HttpResponse:  # noqa: ARG001 - Django tells both
    """A form came without its token: it was not filled in on a page of this server, or cookies are off."""
    return message(
        request,
        "The form was not taken",
        "Open the page again and send the form from there. Cookies of this server must be allowed.",
        status=403,
    )
