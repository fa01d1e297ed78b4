"""The catalogue and what benches consist of: list, look at, declare."""

import re
from collections import Counter
from dataclasses import asdict
from typing import Any

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.viewsets import GenericViewSet

from api.filters import ClinicFilter, ModelFilter, RevisionFilter, SerialFilter
from api.permissions import IsCurator, IsOperator, MayRead
from api.queries import StrictQuery
from api.serializers import catalogue as shapes
from api.serializers.gauges import GaugeDocument, GaugeForm
from api.viewer import operator_of, viewer_of
from registry.errors import Fault, Invalid, NotFound
from registry.intake.catalogue import load_catalogue
from registry.intake.gauges import declare_gauge
from registry.models import Clinic, Gauge, Maker, PumpModel, Revision, Rig, SerialSpan, Unit


class Catalogue(StrictQuery):
    """The catalogue as one declaration."""

    permission_classes = (IsCurator,)

    @extend_schema(
        operation_id="catalogue_load", request=shapes.CatalogueForm, responses=shapes.CatalogueReport
    )
    def post(self, request: Request) -> Response:
        """Load a declaration; loading it again changes only what differs. All of it happens or none."""
        form = shapes.CatalogueForm(data=request.data)
        form.is_valid(raise_exception=True)
        changes = load_catalogue(form.validated_data, operator_of(request))
        counts = Counter(change.action for change in changes)
        actions = ("created", "changed", "removed", "unchanged")
        return Response(
            {action: counts[action] for action in actions} | {"changes": [asdict(c) for c in changes]}
        )


class Shelf(StrictQuery, ListModelMixin, RetrieveModelMixin, GenericViewSet[Any]):
    """A kind of record that is listed by page and looked at one by one."""

    lookup_value_regex = r"\d{1,18}"

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().order_by("id")


class NameFilter(django_filters.FilterSet):
    """Find by name, whole or in part."""

    name = django_filters.CharFilter("name", "iexact")
    search = django_filters.CharFilter("name", "icontains")


class OfModel(django_filters.FilterSet):
    """What belongs to one pump model."""

    model = ModelFilter()


class OfClinic(django_filters.FilterSet):
    """What belongs to one clinic."""

    clinic = ClinicFilter("clinic")


class UnitFilter(OfModel):
    """Units by model, revision and serial."""

    revision = RevisionFilter("revision")
    serial = SerialFilter("serial")


class Makers(Shelf):
    """Whose labels pumps bear."""

    queryset = Maker.objects.all()
    serializer_class = shapes.MakerDocument
    filterset_class = NameFilter


class PumpModels(Shelf):
    """The names pumps are sold under, with schemes, revisions and claims."""

    queryset = PumpModel.objects.select_related("maker").prefetch_related(
        "serial_schemes",
        "revisions__pump_model",
        "revisions__spans__revision",
        "revisions__spans__pump_model",
        "claims",
    )
    serializer_class = shapes.PumpModelDocument
    filterset_class = NameFilter


class Revisions(Shelf):
    """Builds with their marks and spans."""

    queryset = Revision.objects.select_related("pump_model").prefetch_related(
        "spans__revision", "spans__pump_model"
    )
    serializer_class = shapes.RevisionDocument
    filterset_class = OfModel


class SerialSpans(Shelf):
    """Stored serial spans and who said so."""

    queryset = SerialSpan.objects.select_related("pump_model", "revision")
    serializer_class = shapes.SpanDocument
    filterset_class = OfModel


class Units(Shelf):
    """Physical pumps."""

    queryset = Unit.objects.select_related("pump_model", "revision")
    serializer_class = shapes.UnitDocument
    filterset_class = UnitFilter


class Clinics(Shelf):
    """Places with a bench."""

    queryset = Clinic.objects.all()
    serializer_class = shapes.ClinicDocument


class Rigs(Shelf):
    """What stands between pump and gauge."""

    queryset = Rig.objects.all()
    serializer_class = shapes.RigDocument


class Gauges(Shelf):
    """Gauges as their clinics declared them."""

    queryset = Gauge.objects.select_related("clinic").prefetch_related("calibrations__gauge")
    serializer_class = GaugeDocument
    filterset_class = OfClinic
    lookup_value_regex = r"[\w.-]{1,40}"

    def get_permissions(self) -> list[BasePermission]:
        return [IsOperator()] if self.request.method == "PUT" else [MayRead()]

    def get_serializer_context(self) -> dict[str, Any]:
        """Tell the shapes who asks."""
        return {**super().get_serializer_context(), "viewer": viewer_of(self.request)}

    def get_object(self) -> Gauge:
        """Look a gauge up by its number; codes are a clinic's own affair and may be shared by others."""
        if not re.fullmatch(r"\d{1,18}", self.kwargs["pk"]):
            raise NotFound("Gauges are looked up by number", hint="Find it with GET /api/v1/gauges.")
        gauge: Gauge = super().get_object()
        return gauge

    @extend_schema(
        operation_id="gauges_declare",
        request=GaugeForm,
        responses={
            201: GaugeDocument,
            200: OpenApiResponse(GaugeDocument, description="was declared before"),
        },
    )
    def update(self, request: Request, pk: str) -> Response:
        """Declare a gauge of the own clinic by its code, or declare it anew."""
        if not isinstance(request.data, dict):
            raise Invalid("The body must be a JSON object", faults=(Fault("must be a JSON object"),))
        gauge, is_new = declare_gauge(pk, request.data, operator_of(request))
        document = self.get_serializer(self.get_queryset().get(pk=gauge.pk)).data
        return Response(document, status=201 if is_new else 200)
