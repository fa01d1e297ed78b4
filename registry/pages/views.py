"""The pages that show: front page, list of alerts, one alert."""

from django.http import HttpRequest, HttpResponse
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.http import require_safe

from registry.alerts.documents import alert_document
from registry.errors import NotFound
from registry.models import DismissReason
from registry.pages.answering import for_readers, page
from registry.pages.evidence import laid_out
from registry.pages.listing import asked, choices, listed, open_by_severity, public_alerts
from registry.pages.pictures import picture
from registry.pages.revision_form import RevisionForm, listed_from, lists_revision
from registry.pages.sign_in_cookie import reader_of
from registry.pages.words import shown_alert


@csrf_protect
@for_readers
@require_safe
def home(request: HttpRequest) -> HttpResponse:
    """What this is, and how many alerts are open."""
    return page(request, "home.html", {"open": open_by_severity()})


@csrf_protect
@for_readers
@require_safe
def alerts(request: HttpRequest) -> HttpResponse:
    """Alerts, newest first, narrowed down as asked."""
    wanted = asked(request.GET)
    shown, following = listed(wanted)
    about = {
        "alerts": [shown_alert(alert_document(alert)) for alert in shown],
        "wanted": wanted,
        "choices": choices(),
        "following": wanted.query(before=following) if following else "",
        "feed": wanted.feed_query(),
    }
    return page(request, "alerts.html", about)


@csrf_protect
@for_readers
@require_safe
def alert(request: HttpRequest, alert_id: int) -> HttpResponse:
    """One alert: what, where, how sure, since when, why, what to do."""
    return alert_page(request, alert_id)


def alert_page(
    request: HttpRequest, alert_id: int, revision: RevisionForm | None = None, *, status: int = 200
) -> HttpResponse:
    """Return an alert's page; `revision` is what a curator filled in, with what is wrong in it.

    Raises NotFound for an alert that pages do not show.
    """
    found = public_alerts().filter(pk=alert_id).first()
    if found is None:
        raise NotFound(f"There is no alert {alert_id}", hint="The list of alerts has those there are.")
    reader = reader_of(request)
    is_curator = reader is not None and reader.is_curator
    shown = shown_alert(alert_document(found, tell_reason=is_curator))
    may_act = is_curator and shown.is_open
    about = {
        "alert": shown,
        "picture": picture(shown.evidence),
        "evidence": laid_out(shown.evidence),
        "may_act": may_act,
        "reasons": DismissReason.choices,
        "listed": listed_from(found) if may_act else None,
        "revision": (revision or RevisionForm()) if may_act and lists_revision(found) else None,
    }
    return page(request, "alert.html", about, status=status)
