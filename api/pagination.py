"""Lists are paged by cursor, so a page never shifts while others upload."""

from typing import Any

from rest_framework.pagination import CursorPagination
from rest_framework.response import Response


class Cursor(CursorPagination):
    """`{"results", "next"}`, oldest first, `page_size` up to 500."""

    page_size = 50
    max_page_size = 500
    page_size_query_param = "page_size"
    ordering = "id"

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


class NewestFirst(Cursor):
    """Runs and alerts: what came last is asked for first."""

    ordering = "-id"
