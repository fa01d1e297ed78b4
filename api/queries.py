"""Query parameters: a name nobody knows is refused, so a mistyped filter never answers another question."""

from collections.abc import Collection, Iterable
from functools import lru_cache
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.views import APIView

from registry.errors import Fault, Invalid


def check_names(request: Request, known: Iterable[str], several: Collection[str] = ()) -> None:
    """Raise Invalid naming every query parameter outside `known`, and every one that comes twice.

    Those in `several` may come more than once.
    """
    names = set(known)
    given = request.query_params
    unknown = sorted(set(given) - names)
    once = (set(given) & names) - set(several)
    twice = sorted(name for name in once if len(given.getlist(name)) > 1)
    if unknown or twice:
        raise Invalid(
            "; ".join([f"Unknown query parameter: {n}" for n in unknown] + [f"Twice: {n}" for n in twice]),
            hint=f"Known here, each once: {', '.join(sorted(names)) or 'none'}.",
            faults=(
                *(Fault("unknown query parameter", field=name) for name in unknown),
                *(Fault("comes more than once", field=name) for name in twice),
            ),
        )


@lru_cache(256)
def _checking(query: type[serializers.Serializer[Any]]) -> serializers.Serializer[Any]:
    """A serializer that checks the parameters of all requests, of which it keeps nothing.

    Making its fields, which is done before threads share it, costs more than most of what a request does.
    """
    made = query()
    made.fields  # noqa: B018 - they are made when they are first asked for
    return made


class StrictQuery(APIView):
    """A view that takes the query parameters of its filters and pages, or of `query`, and no others.

    Each comes once, but for those in `several`.
    """

    several: Collection[str] = ()
    query: type[serializers.Serializer[Any]] | None = None
    filterset_class: Any = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        method = request.method or ""
        if method in ("GET", "HEAD"):
            check_names(request, self._known(), self.several)
        elif method != "OPTIONS" and method in self.allowed_methods:
            check_names(request, ())

    @property
    def default_response_headers(self) -> dict[str, str]:
        """Who asks may see more than others, so no cache may give one person's answer to another."""
        headers: dict[str, str] = super().default_response_headers
        return {**headers, "Vary": ", ".join(filter(None, (headers.get("Vary"), "Authorization")))}

    def _known(self) -> set[str]:
        names = set(_checking(self.query).fields) if self.query else set()
        if self.filterset_class is not None and not getattr(self, "detail", False):
            names |= set(self.filterset_class.base_filters)
        if getattr(self, "paginator", None) is not None and not getattr(self, "detail", False):
            names |= {"cursor", "page_size"}
        return names

    def asked(self, request: Request) -> dict[str, Any]:
        """Return the query parameters checked by `query`; raises a validation error naming each at fault."""
        if self.query is None:
            return {}
        return dict(_checking(self.query).run_validation(request.query_params))
