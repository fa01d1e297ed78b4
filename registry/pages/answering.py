"""What all pages share: who reads them, what they may fetch and run (nothing), how long they keep."""

from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, Final
from urllib.parse import urlencode

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import conditional_page

from registry.errors import DomainError, NotFound
from registry.pages.sign_in_cookie import reader_of
from registry.pages.style import sheet
from registry.plaintext import readable

POLICY: Final = (
    "default-src 'none'; style-src 'self'; img-src data:; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'"
)
View = Callable[..., HttpResponse]


def page(
    request: HttpRequest, template: str, about: Mapping[str, Any] | None = None, *, status: int = 200
) -> HttpResponse:
    """Return a page made of a template, with the headers that keep everything else out.

    Whatever words it holds, none of them turns the direction in which the rest is read.
    """
    shared = {
        "reader": reader_of(request),
        "style": reverse("page-style", args=[sheet()[1]]),
        "reads_open": settings.VACUARY_READS_OPEN,
        "here": request.get_full_path(),
    }
    text = readable(render_to_string(template, {**shared, **(about or {})}, request))
    answer = HttpResponse(text, status=status)
    answer["Content-Security-Policy"] = POLICY
    answer["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
    answer["Cache-Control"] = "private, no-cache"  # asked again each time, and then mostly answered with 304
    answer["Vary"] = "Cookie"
    return answer


def message(
    request: HttpRequest, title: str, *paragraphs: str, status: int = 200, **more: Any
) -> HttpResponse:
    """Return a page that says one thing; `more` goes to its template."""
    about = {"title": title, "paragraphs": paragraphs, **more}
    return page(request, "message.html", about, status=status)


def for_readers(view: View) -> View:
    """A page of the community's answers: for all, or for those who signed in, as the installation has it.

    A refusal of the registry becomes a page too; a copy that is still good is not sent again.
    """

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not settings.VACUARY_READS_OPEN and reader_of(request) is None:
            return to_sign_in(request)
        try:
            return view(request, *args, **kwargs)
        except DomainError as error:
            return refusal(request, error)

    kept: View = conditional_page(answered)
    return kept


def to_sign_in(request: HttpRequest) -> HttpResponse:
    """Send a stranger to the form, and from there back here."""
    asked = urlencode({"next": request.get_full_path() if request.method in ("GET", "HEAD") else "/"})
    return HttpResponseRedirect(f"{reverse('page-sign-in')}?{asked}")


def refusal(request: HttpRequest, error: DomainError) -> HttpResponse:
    """Return a refusal in words."""
    status = 404 if isinstance(error, NotFound) else 409 if error.code == "conflict" else 422
    return message(request, error.title, error.detail + ".", error.hint, status=status)
