"""The real routes and the bare peer of an upload."""

import hashlib
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.urls import path
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.config.urls import handler404, handler500
from registry.config.urls import urlpatterns as real

__all__ = ["handler404", "handler500", "urlpatterns"]


class Bare(APIView):
    """The least an upload can be: read the form, hash the file, store it where traces are stored."""

    authentication_classes = ()
    permission_classes = ()
    parser_classes = (MultiPartParser,)

    def post(self, request: Request) -> Response:
        """Store the file under its digest."""
        data: Any = request.FILES["trace"].read()
        digest = hashlib.sha256(data).hexdigest()
        storages["traces"].save(f"{digest[:2]}/{digest[2:4]}/{digest}", ContentFile(data))
        return Response({"digest": digest}, status=201)


urlpatterns = [*real, path("bare", Bare.as_view())]
