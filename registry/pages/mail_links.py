"""Where the links in mails lead: confirming an address, and leaving.

A link alone changes nothing, since programs that look through mail follow links: its page has a button.
The token in the address is what allows it, so no other sign-in or form token is needed; leaving by one press
from a mail program (RFC 8058) is a POST to the same address.
"""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from registry.alerts.delivery import keys, subscribing
from registry.pages.answering import message

_METHODS = ["GET", "HEAD", "POST"]


@csrf_exempt
@require_http_methods(_METHODS)
def confirm(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether alerts may be sent to the address, and note the answer."""
    found = (
        subscribing.confirm(token)
        if request.method == "POST"
        else keys.subscription_of_link(token, "confirm")
    )
    if found is None:
        return _not_good(request)
    if found.confirmed_at is not None:
        return message(request, "Confirmed", "Alerts are sent to your address from now on.")
    return message(
        request,
        "Shall alerts come to your address?",
        "Somebody with an account here asked for that. Press the button if it was you; else close this page.",
        button="Yes, send alerts",
    )


@csrf_exempt
@require_http_methods(_METHODS)
def leave(request: HttpRequest, token: str) -> HttpResponse:
    """Ask whether mail shall end, and end it: the address is deleted."""
    if request.method == "POST":
        subscribing.leave(token)
        return message(request, "Left", "No more mail comes, and your address is deleted here.")
    if keys.subscription_of_link(token, "leave") is None:
        return _not_good(request)
    return message(
        request,
        "Shall no more alerts come to your address?",
        "Your address is deleted here then.",
        button="End it",
    )


def _not_good(request: HttpRequest) -> HttpResponse:
    return message(
        request,
        "This link is not good (any more)",
        "It may have been cut by the mail program, be too old, or have been used to leave.",
        "To be told of alerts, subscribe again.",
        status=404,
    )
