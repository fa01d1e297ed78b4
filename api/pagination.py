"""Lists are paged by cursor, so a page never shifts while others upload."""

import re
from typing import TYPE_CHECKING, Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor as Place
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.response import Response

from registry.errors import Fault, Invalid

if TYPE_CHECKING:  # views import the settings, which import this module
    from rest_framework.views import APIView

LONGEST = 500


class Cursor(CursorPagination):
    """`{"results", "next"}`, oldest first, `page_size` up to 500."""

    page_size = 50
    max_page_size = LONGEST
    page_size_query_param = "page_size"
    ordering = "id"

    def get_page_size(self, request: Request) -> int:
        """Return the page size asked for. Raises Invalid outside the bounds."""
        said = request.query_params.get("page_size", str(Cursor.page_size))
        size = int(said) if re.fullmatch(r"[0-9]{1,4}", said) else 0
        if not 1 <= size <= LONGEST:
            message = f"must be a whole number from 1 to {LONGEST}"
            raise Invalid(
                f"page_size: {message}",
                hint="Ask for a page within the bounds and follow 'next' for the rest.",
                faults=(Fault(message, field="page_size"),),
            )
        return size

    def decode_cursor(self, request: Request) -> Place | None:
        """Return the place in the list, if any was given. Raises Invalid for what no answer ever gave."""
        try:
            place: Place | None = super().decode_cursor(request)
        except NotFound as error:
            raise _no_cursor() from error
        if place is not None and not re.fullmatch(r"[0-9]{1,18}", str(place.position or "")):
            raise _no_cursor()
        return place

    def get_paginated_response(self, data: Any) -> Response:
        return Response({"results": data, "next": self.get_next_link()})

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        return {
            "type": "object",
            "required": ["results", "next"],
            "properties": {
                "results": schema,
                "next": {"type": ["string", "null"], "description": "address of the next page"},
            },
        }

    def get_schema_operation_parameters(self, view: "APIView") -> list[dict[str, Any]]:
        """The two parameters with their bounds."""
        parameters: list[dict[str, Any]] = super().get_schema_operation_parameters(view)
        for parameter in parameters:
            if parameter["name"] == "page_size":
                bounds = {"minimum": 1, "maximum": LONGEST, "default": Cursor.page_size}
                parameter["schema"] = {"type": "integer", **bounds}
        return parameters


class NewestFirst(Cursor):
    """Runs and alerts: what came last is asked for first."""

    ordering = "-id"


class ByNumber(Cursor):
    """Editions are known by their number alone."""

    ordering = "number"


def _no_cursor() -> Invalid:
    return Invalid(
        "cursor: is not one that an answer gave",
        hint="Follow the address in 'next' as it is, or begin again without a cursor.",
        faults=(Fault("is not one that an answer gave", field="cursor"),),
    )
