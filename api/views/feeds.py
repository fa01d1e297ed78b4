"""Alerts as an Atom feed."""

from typing import Any

from django.conf import settings
from django.http import HttpResponse
from django.utils.cache import get_conditional_response, patch_cache_control
from django.utils.http import http_date
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.negotiation import BaseContentNegotiation
from rest_framework.permissions import AllowAny
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

from api.queries import StrictQuery
from api.serializers.subscriptions import FeedQuery
from registry.alerts.delivery import feeds
from registry.alerts.delivery.keys import subscription_of_feed
from registry.alerts.narrowing import rule_of
from registry.errors import NotFound
from registry.models.lookup import find_clinic, find_pump_model

_ATOM = {
    (200, "application/atom+xml"): OpenApiResponse(OpenApiTypes.STR, description="an Atom feed, RFC 4287")
}


class AnyReader(BaseContentNegotiation):
    """Feed readers ask for all kinds of types and mean the one there is."""

    def select_renderer(self, request: Request, renderers: Any, format_suffix: str | None = None) -> Any:
        """Return what refusals are written with; the feed writes itself."""
        return JSONRenderer(), JSONRenderer.media_type

    def select_parser(self, request: Request, parsers: Any) -> Any:
        """Nothing is sent to a feed."""
        return None


class Feed(StrictQuery):
    """Alerts for feed readers; as open as the list of alerts."""

    query = FeedQuery
    content_negotiation_class = AnyReader

    @extend_schema(operation_id="alerts_feed", parameters=[FeedQuery], responses=_ATOM)
    def get(self, request: Request) -> HttpResponse:
        """Give the latest hundred entries; If-None-Match and If-Modified-Since save the rest of the way."""
        return _answer(request, _wanted(self.asked(request)))


class OwnFeed(StrictQuery):
    """A subscriber's own feed, whose address is the key to it: readers cannot send a token."""

    permission_classes = (AllowAny,)
    authentication_classes = ()
    content_negotiation_class = AnyReader

    @extend_schema(operation_id="alerts_feed_own", responses=_ATOM)
    def get(self, request: Request, key: str) -> HttpResponse:
        """Give the entries that the subscription asks for."""
        subscription = subscription_of_feed(key)
        if subscription is None:
            raise NotFound("There is no such feed", hint="It was ended, or the address was not copied whole.")
        return _answer(request, feeds.Wanted.by(subscription))


def _wanted(asked: dict[str, Any]) -> feeds.Wanted:
    model, clinic, rule = asked.get("model"), asked.get("clinic"), asked.get("rule")
    return feeds.Wanted(
        find_pump_model(model).pk if model else None,
        find_clinic(clinic).pk if clinic else None,
        rule_of(rule) if rule else "",
        asked.get("severity", "note"),
    )


def _answer(request: Request, wanted: feeds.Wanted) -> HttpResponse:
    """The feed, or 304 for a reader that has it."""
    site = settings.VACUARY_ADDRESS or request.build_absolute_uri("/").rstrip("/")
    address = f"{site}{request.get_full_path()}"
    said = feeds.entries(wanted)
    tag, changed = feeds.version_of(said, address)
    whole = HttpResponse(feeds.feed(said, address=address, site=site), content_type=feeds.CONTENT_TYPE)
    whole["ETag"], whole["Last-Modified"] = tag, http_date(changed.timestamp())
    patch_cache_control(whole, private=True, max_age=60)
    found = get_conditional_response(
        request._request,  # noqa: SLF001 - Django looks at its own request
        etag=tag,
        last_modified=int(changed.timestamp()),
        response=whole,
    )
    return whole if found is None else found
