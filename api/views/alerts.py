"""Alerts: what stands out, and what a curator says to it."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response

from api.pagination import NewestFirst
from api.permissions import IsCurator
from api.queries import StrictQuery
from api.serializers.alerts import (
    AlertDocument,
    AlertsQuery,
    DismissForm,
    ExplanationDocument,
    ExplanationQuery,
    RulesDocument,
)
from api.viewer import viewer_of
from registry.alerts.book import dismiss, list_alerts, mark_seen
from registry.alerts.documents import alert_document
from registry.alerts.explaining import explain
from registry.alerts.ruled import rules_document
from registry.models import Alert


class Alerts(StrictQuery, GenericAPIView[Alert]):
    """What stands out."""

    query = AlertsQuery
    queryset = Alert.objects.none()
    filter_backends = ()
    pagination_class = NewestFirst
    serializer_class = AlertDocument

    @extend_schema(operation_id="alerts_list", parameters=[AlertsQuery], responses=AlertDocument(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List alerts, newest first."""
        asked = {key: value for key, value in self.asked(request).items() if key in AlertsQuery().fields}
        viewer = viewer_of(request)
        tell = viewer is not None and viewer.is_curator
        page = self.paginate_queryset(list_alerts(**asked, to_curator=tell))
        return self.get_paginated_response([alert_document(a, tell_reason=tell) for a in page or ()])


class AlertSeen(StrictQuery):
    """An alert that somebody looks into."""

    permission_classes = (IsCurator,)

    @extend_schema(operation_id="alerts_seen", request=None, responses=AlertDocument)
    def post(self, request: Request, alert_id: int) -> Response:
        """Note that the alert has been looked at; it stays open."""
        return Response(alert_document(mark_seen(alert_id), tell_reason=True))


class AlertDismiss(StrictQuery):
    """An alert that is none."""

    permission_classes = (IsCurator,)

    @extend_schema(operation_id="alerts_dismiss", request=DismissForm, responses=AlertDocument)
    def post(self, request: Request, alert_id: int) -> Response:
        """Close the alert with a reason; the same is raised again only when the effect has grown."""
        form = DismissForm(data=request.data)
        form.is_valid(raise_exception=True)
        said, viewer = form.validated_data, viewer_of(request)
        by = viewer.handle if viewer is not None else ""
        alert = dismiss(alert_id, said["reason"], said["note"], by=by)
        return Response(alert_document(alert, tell_reason=True))


class AlertRules(StrictQuery):
    """What alerts are raised by."""

    @extend_schema(operation_id="alert_rules", responses=RulesDocument)
    def get(self, request: Request) -> Response:
        """List the rules with limits, floors, and the share of their alerts that was dismissed."""
        return Response(rules_document())


class Explanations(StrictQuery):
    """Why something did or did not raise an alert."""

    query = ExplanationQuery

    @extend_schema(operation_id="explanations", parameters=[ExplanationQuery], responses=ExplanationDocument)
    def get(self, request: Request) -> Response:
        """Tell what every rule last made of a run, a unit or a gauge, and what it was short of."""
        return Response(explain(**self.asked(request), reader=viewer_of(request)))
