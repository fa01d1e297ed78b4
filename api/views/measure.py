"""Measure a trace without storing anything."""

from drf_spectacular.utils import extend_schema
from rest_framework.parsers import MultiPartParser
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.documents import preview_document
from api.queries import StrictQuery
from api.serializers.runs import MeasureForm, PreviewDocument
from api.uploads import read_form
from api.viewer import viewer_of
from registry.intake.measure import preview


class Measure(StrictQuery):
    """What a trace would be measured as."""

    permission_classes = (AllowAny,)
    parser_classes = (MultiPartParser,)

    @extend_schema(
        operation_id="measure", request={"multipart/form-data": MeasureForm}, responses=PreviewDocument
    )
    def post(self, request: Request) -> Response:
        """Answer as an upload would, and store nothing. Signed in, the gauge and the unit are looked up.

        A file of both sides of a double pump needs no side here; an upload does.
        """
        data, said = read_form(request, needs_provenance=False)
        return Response(preview_document(preview(data, said, viewer_of(request))))
