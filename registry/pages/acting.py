"""What curators say to an alert on its page."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.http import require_POST

from registry.alerts import book
from registry.errors import DomainError, NotFound
from registry.models import Operator
from registry.pages.answering import message, refusal, to_sign_in
from registry.pages.listing import public_alerts
from registry.pages.revision_form import RevisionForm
from registry.pages.sign_in_cookie import reader_of
from registry.pages.views import alert_page

Acting = Callable[[HttpRequest, Operator, int], HttpResponse | None]


def _by_curators(act: Acting) -> Callable[..., HttpResponse]:
    """A form's target: does it and goes back to the alert, or says why not; a page it gives is shown."""

    @csrf_protect
    @require_POST
    @wraps(act)
    def answered(request: HttpRequest, alert_id: int, **_: Any) -> HttpResponse:
        reader = reader_of(request)
        if reader is None:
            return to_sign_in(request)
        if not reader.is_curator:
            return message(request, "Not permitted", "This needs the curator role.", status=403)
        try:
            instead = act(request, reader, alert_id)
        except DomainError as error:
            return refusal(request, error)
        if instead is not None:
            return instead
        back = HttpResponseRedirect(reverse("page-alert", args=[alert_id]))
        back.status_code = 303
        return back

    return answered


@_by_curators
def seen(request: HttpRequest, reader: Operator, alert_id: int) -> None:  # noqa: ARG001 - the form says nothing
    """Note that somebody looks into it."""
    book.mark_seen(_told(alert_id))


@_by_curators
def dismiss(request: HttpRequest, reader: Operator, alert_id: int) -> None:
    """Close an alert that is none, with a reason."""
    said = request.POST
    book.dismiss(_told(alert_id), said.get("reason", ""), said.get("note", ""), by=reader.handle)


@_by_curators
def list_revision(request: HttpRequest, reader: Operator, alert_id: int) -> HttpResponse | None:
    """Propose the revision that an alert tells of, or show the form again with what is wrong."""
    form = RevisionForm(request.POST)
    if form.propose(_told(alert_id), reader):
        return None
    return alert_page(request, alert_id, form, status=422)


def _told(alert_id: int) -> int:
    """The number of an alert that pages show. Raises NotFound for others."""
    if not public_alerts().filter(pk=alert_id).exists():
        raise NotFound(f"There is no alert {alert_id}")
    return alert_id
