"""Who reads a page: known by a signed cookie that holds the digest of their token.

The token's row is looked at on every page, so ending a token, or its expiry, ends the sign-in at once. The
cookie itself is good for a working day, as benches are often shared.
"""

from datetime import timedelta
from typing import Final

from django.conf import settings
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from knox.crypto import hash_token
from knox.models import get_token_model

from registry.models import Operator

COOKIE: Final = "vacuary_reader"
_SALT = "vacuary.pages"
_GOOD_FOR = timedelta(hours=12)
_ASKED = "_vacuary_reader"


def reader_of(request: HttpRequest) -> Operator | None:
    """The operator who signed in, or None; asked once a request."""
    if not hasattr(request, _ASKED):
        digest = request.get_signed_cookie(COOKIE, default=None, salt=_SALT, max_age=_GOOD_FOR)
        setattr(request, _ASKED, _holder(digest) if digest else None)
    found: Operator | None = getattr(request, _ASKED)
    return found


def remember(request: HttpRequest, response: HttpResponse, token: str) -> bool:
    """Sign in with a token; False when it is not known or good no longer."""
    digest = hash_token(token) if token.isascii() else ""
    if not digest or _holder(digest) is None:
        return False
    response.set_signed_cookie(
        COOKIE,
        digest,
        salt=_SALT,
        max_age=_GOOD_FOR,
        secure=request.is_secure() or settings.CSRF_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )
    return True


def forget(response: HttpResponse) -> None:
    """Sign out of this browser."""
    response.delete_cookie(COOKIE, samesite="Lax")


def _holder(digest: str) -> Operator | None:
    good = get_token_model().objects.filter(
        Q(expiry=None) | Q(expiry__gt=timezone.now()), digest=digest, user__is_active=True
    )
    found = good.select_related("user__clinic").first()
    return found.user if found else None
