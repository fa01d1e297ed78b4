"""The real routes and the bare peer of an upload."""

import hashlib

from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.urls import path
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.authentication import TokenSignIn
from api.permissions import IsOperator
from registry.config.urls import handler404, handler500
from registry.config.urls import urlpatterns as real
from registry.models import Trace

__all__ = ["handler404", "handler500", "urlpatterns"]


class HashAndKeep(APIView):
    """Read the form, hash the file, write it where traces are written. Nobody signs in, no row is kept."""

    authentication_classes: tuple[type, ...] = ()
    permission_classes: tuple[type, ...] = ()
    parser_classes = (MultiPartParser,)

    def post(self, request: Request) -> Response:
        """Keep the file under its digest."""
        digest = self.keep(request.FILES["trace"].read())
        return Response({"digest": digest}, status=201)

    def keep(self, data: bytes) -> str:
        """Write the bytes durably and return their digest."""
        trace = Trace(digest=hashlib.sha256(data).hexdigest(), size=len(data))
        storages["traces"].save(trace.storage_name, ContentFile(data))
        return trace.digest


class HashAndStore(HashAndKeep):
    """The least an upload to a registry can be: signed in, and the trace stored with its row committed."""

    authentication_classes = (TokenSignIn,)
    permission_classes = (IsOperator,)

    def keep(self, data: bytes) -> str:
        """Write the bytes durably, commit the trace's row and return the digest."""
        digest = super().keep(data)
        Trace.objects.create(digest=digest, size=len(data))
        return digest


urlpatterns = [
    *real,
    path("bare", HashAndStore.as_view()),
    path("barer", HashAndKeep.as_view()),
]
