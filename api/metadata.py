"""What OPTIONS answers."""

from typing import TYPE_CHECKING, Any

from rest_framework.metadata import BaseMetadata
from rest_framework.request import Request

if TYPE_CHECKING:  # views import the settings, which import this module
    from rest_framework.views import APIView


class Methods(BaseMetadata):
    """The methods an address takes; everything else is in the schema."""

    def determine_metadata(self, request: Request, view: "APIView") -> dict[str, Any]:
        """Return the methods and where the schema is."""
        return {"methods": view.allowed_methods, "schema": "/api/v1/schema"}
