"""Questions to the community's measurements."""

from typing import Any

import django_filters
from drf_spectacular.utils import extend_schema
from registry.alerts.documents import alert_document
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import NewestFirst
from api.queries import StrictQuery
from api.serializers.answers import (
    AlertDocument,
    DistributionsDocument,
    DistributionsQuery,
    SerialsDocument,
    SerialsQuery,
)
from registry.answers.distributions import answer_distributions
from registry.answers.serials import answer_serials
from registry.models import Alert, AlertState


class Serials(StrictQuery):
    """Which revision is this serial, or this range?"""

    query = SerialsQuery

    @extend_schema(operation_id="serials", parameters=[SerialsQuery], responses=SerialsDocument)
    def get(self, request: Request) -> Response:
        """Answer with the sub-spans in order; gaps are said, never guessed over."""
        asked = self.asked(request)
        return Response(answer_serials(asked["model"], asked["first"], asked.get("last")))


class Distributions(StrictQuery):
    """How does a build behave at each setting across clinics?"""

    query = DistributionsQuery

    @extend_schema(
        operation_id="distributions", parameters=[DistributionsQuery], responses=DistributionsDocument
    )
    def get(self, request: Request) -> Response:
        """Answer with one cell for each revision, setting, rig, power and metric."""
        return Response(answer_distributions(**self.asked(request)))


class AlertFilter(django_filters.FilterSet):
    """Filters of the list of alerts."""

    rule = django_filters.CharFilter("rule", "exact")
    state = django_filters.ChoiceFilter(choices=AlertState.choices)


class Alerts(StrictQuery, ListAPIView[Alert]):
    """What stands out."""

    queryset = Alert.objects.all()
    filterset_class = AlertFilter
    pagination_class = NewestFirst
    serializer_class = AlertDocument

    @extend_schema(operation_id="alerts_list", responses=AlertDocument(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List alerts, newest first."""
        page = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response([alert_document(alert) for alert in page or ()])
