"""Whether the server can do its work."""

from typing import Any

from django.conf import settings
from django.db import connection
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.queries import StrictQuery


class HealthDocument(serializers.Serializer[Any]):
    """The server's version and the range of client versions it serves."""

    status = serializers.ChoiceField(choices=["ok"])
    version = serializers.CharField()
    clients = serializers.CharField()


class Health(StrictQuery):
    """Health of the server."""

    permission_classes = (AllowAny,)
    authentication_classes = ()

    @extend_schema(operation_id="health", responses=HealthDocument)
    def get(self, request: Request) -> Response:
        """Answer ok when the database does; else a problem document `unavailable`."""
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        return Response({"status": "ok", "version": settings.VERSION, "clients": settings.CLIENT_VERSIONS})
