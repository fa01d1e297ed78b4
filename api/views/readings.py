"""How a gauge's files are usually read."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.permissions import IsOperator
from api.queries import StrictQuery
from api.serializers.runs import ReadingDocument, ReadingForm
from api.viewer import operator_of
from registry.errors import Fault, Invalid
from registry.intake.provenance import READING_KEYS
from registry.intake.readings import forget_reading, keep_reading, reading_of
from registry.models import GaugeReading


class Reading(StrictQuery):
    """What is usual for a gauge of the own clinic. Headings are text out of files, so not for others."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="gauges_reading", responses=ReadingDocument)
    def get(self, request: Request, code: str) -> Response:
        """Show what is kept."""
        return Response(_document(reading_of(code, operator_of(request))))

    @extend_schema(
        operation_id="gauges_reading_keep",
        request=ReadingForm,
        responses={
            201: ReadingDocument,
            200: OpenApiResponse(ReadingDocument, description="something was kept before"),
        },
    )
    def put(self, request: Request, code: str) -> Response:
        """Keep this and nothing else, at least one of the fields; POST measure answers what may be kept.

        It is used where neither a file nor its upload says otherwise. Stored runs keep their meaning.
        """
        if not isinstance(request.data, dict):
            raise Invalid("The body must be a JSON object", faults=(Fault("must be a JSON object"),))
        reading, is_new = keep_reading(code, request.data, operator_of(request))
        return Response(_document(reading), status=201 if is_new else 200)

    @extend_schema(operation_id="gauges_reading_forget", responses={204: None})
    def delete(self, request: Request, code: str) -> Response:
        """Keep nothing any more; doing it twice is doing it once."""
        forget_reading(code, operator_of(request))
        return Response(status=204)


def _document(reading: GaugeReading) -> dict[str, Any]:
    return {
        "gauge": reading.gauge.code,
        **{name: getattr(reading, name) or None for name in READING_KEYS},
        "saved_by": reading.saved_by.pseudonym,
        "saved_at": reading.saved_at,
    }
