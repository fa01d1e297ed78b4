"""Sign in to the pages with the token of the command line, and out again."""

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from registry.pages.answering import page
from registry.pages.sign_in_cookie import forget, remember

_TOKEN_LONGEST = 200


@sensitive_post_parameters("token")
@csrf_protect
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Show the form, or take the token and go where the reader wanted to."""
    following = _path(request.POST.get("next") or request.GET.get("next") or "")
    if request.method != "POST":
        return page(request, "sign_in.html", {"next": following})
    answer = HttpResponseRedirect(following)
    answer.status_code = 303
    if remember(request, answer, request.POST.get("token", "").strip()[:_TOKEN_LONGEST]):
        return answer
    about = {"next": following, "fault": "That token is not known, or has expired."}
    return page(request, "sign_in.html", about, status=422)


@csrf_protect
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - a view is given it
    """Forget the reader."""
    answer = HttpResponseRedirect("/")
    answer.status_code = 303
    forget(answer)
    return answer


def _path(said: str) -> str:
    """A path of this server; whatever leads elsewhere becomes the front page."""
    is_own = said.startswith("/") and url_has_allowed_host_and_scheme(said, allowed_hosts=None)
    return said if is_own else "/"
