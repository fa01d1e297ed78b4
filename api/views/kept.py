"""Answers as they are kept, over HTTP: compressed once, and not sent again to those who have them."""

from collections.abc import Mapping
from typing import Any, cast

from django.http import HttpResponse
from django.middleware.gzip import re_accepts_gzip
from django.utils.cache import get_conditional_response, patch_vary_headers
from rest_framework.request import Request

from api.afterwards import Afterwards
from api.queries import StrictQuery
from registry.answers.served.kept import Kept, kept_answer


class KeptAnswers(StrictQuery):
    """A view of a question whose answers are kept. Who may read is checked each time, before any look-up."""

    kind: str

    def answered(self, request: Request, asked: Mapping[str, Any]) -> HttpResponse:
        """Return the answer, or 304 where the sender says that it has the same.

        It may be stored by the sender alone, who has to ask each time whether it still holds. It is kept here
        when it has been sent.
        """
        afterwards = Afterwards()
        kept = kept_answer(self.kind, asked, getattr(request.user, "clinic", None), afterwards.add)
        sent = _sent(request, kept)
        sent["Cache-Control"] = "private, no-cache"
        patch_vary_headers(sent, ["Authorization", "Accept-Encoding"])
        etag = f'W/"{kept.etag}"'
        sent["ETag"] = etag
        conditional = get_conditional_response(request._request, etag=etag, response=sent)  # noqa: SLF001
        response = cast(HttpResponse, conditional)
        afterwards.follow(response)
        return response


def _sent(request: Request, kept: Kept) -> HttpResponse:
    """The answer, compressed for those who take it. Nothing secret is in it, so no noise is added."""
    if re_accepts_gzip.search(request.headers.get("Accept-Encoding", "")):
        response = HttpResponse(kept.body, content_type="application/json")
        response["Content-Encoding"] = "gzip"
        return response
    return HttpResponse(kept.text(), content_type="application/json")
