"""The one style sheet, under an address that changes with it, so that browsers keep it for a year."""

import hashlib
from functools import cache
from pathlib import Path
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

_FILE: Final = Path(__file__).with_name("style.css")
_YEAR_S: Final = 365 * 24 * 3600


@cache
def sheet() -> tuple[bytes, str]:
    """The style sheet and its digest."""
    text = _FILE.read_bytes()
    return text, hashlib.sha256(text).hexdigest()[:12]


@require_safe
def style(request: HttpRequest, digest: str) -> HttpResponse:  # noqa: ARG001 - an old page may ask for an old one
    """Give the style sheet; whatever digest a page asked for, there is only the present one."""
    text, current = sheet()
    answer = HttpResponse(text, content_type="text/css; charset=utf-8")
    lifetime = f"public, max-age={_YEAR_S}, immutable" if digest == current else "no-cache"
    answer["Cache-Control"] = lifetime
    return answer
