"""Subscriptions: an operator's own, and nobody else's."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.generics import GenericAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from api.pagination import NewestFirst
from api.permissions import IsOperator
from api.queries import StrictQuery
from api.serializers.subscriptions import (
    DeliveryDocument,
    ReplayDocument,
    ReplayForm,
    SubscriptionChange,
    SubscriptionDocument,
    SubscriptionForm,
)
from api.viewer import operator_of
from registry.alerts.delivery import subscribing
from registry.alerts.delivery.documents import delivery_document, subscription_document
from registry.models import Delivery, Subscription


class Subscriptions(StrictQuery, GenericAPIView[Subscription]):
    """What an operator is told of."""

    permission_classes = (IsOperator,)
    queryset = Subscription.objects.none()
    filter_backends = ()
    pagination_class = NewestFirst
    serializer_class = SubscriptionDocument

    @extend_schema(operation_id="subscriptions_list", responses=SubscriptionDocument(many=True))
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """List your own subscriptions, newest first."""
        page = self.paginate_queryset(subscribing.subscriptions_of(operator_of(request)))
        return self.get_paginated_response([subscription_document(one) for one in page or ()])

    @extend_schema(
        operation_id="subscriptions_add", request=SubscriptionForm, responses={201: SubscriptionDocument}
    )
    def post(self, request: Request) -> Response:
        """Be told of alerts: by a signed webhook, by mail once its address is confirmed, or in a feed."""
        wish = _said(SubscriptionForm(data=request.data))
        channel, to = wish.pop("channel"), wish.pop("to", "")
        made = subscribing.subscribe(operator_of(request), channel, to, wish)
        document = subscription_document(made, is_new=True)
        if "feed" in document:
            document["feed"] = request.build_absolute_uri(document["feed"])
        return Response(document, status=201)


class SubscriptionDetail(StrictQuery):
    """One subscription."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="subscriptions_retrieve", responses=SubscriptionDocument)
    def get(self, request: Request, subscription_id: int) -> Response:
        """Show a subscription of yours."""
        found = subscribing.subscription_of(operator_of(request), subscription_id)
        return Response(subscription_document(found))

    @extend_schema(
        operation_id="subscriptions_change", request=SubscriptionChange, responses=SubscriptionDocument
    )
    def patch(self, request: Request, subscription_id: int) -> Response:
        """Narrow it otherwise, pause it or take it up again."""
        wish = _said(SubscriptionChange(data=request.data))
        return Response(
            subscription_document(subscribing.change(operator_of(request), subscription_id, wish))
        )

    @extend_schema(operation_id="subscriptions_end", responses={204: None})
    def delete(self, request: Request, subscription_id: int) -> Response:
        """End it and forget its address; doing it twice is doing it once."""
        subscribing.end(operator_of(request), subscription_id)
        return Response(status=204)


class SubscriptionRotate(StrictQuery):
    """For a secret that got about, or is changed from time to time."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="subscriptions_rotate", request=None, responses=SubscriptionDocument)
    def post(self, request: Request, subscription_id: int) -> Response:
        """Have a webhook's secret replaced, and tell the new one; the former one signs as well for a day."""
        rotated = subscribing.rotate(operator_of(request), subscription_id)
        return Response(subscription_document(rotated, is_new=True))


class SubscriptionReplay(StrictQuery):
    """For a receiver that lost what it had."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="subscriptions_replay", request=ReplayForm, responses={202: ReplayDocument})
    def post(self, request: Request, subscription_id: int) -> Response:
        """Send again all since a time, or from a sequence number on, under the same ids; 90 days are kept."""
        since = _said(ReplayForm(data=request.data))["since"]
        again = subscribing.replay(operator_of(request), subscription_id, since)
        return Response({"again": again}, status=202)


class SubscriptionTest(StrictQuery):
    """For trying a receiver."""

    permission_classes = (IsOperator,)

    @extend_schema(operation_id="subscriptions_test", request=None, responses={202: DeliveryDocument})
    def post(self, request: Request, subscription_id: int) -> Response:
        """Queue a test message; the list of deliveries tells what became of it."""
        queued = subscribing.try_out(operator_of(request), subscription_id)
        return Response(delivery_document(queued), status=202)


class SubscriptionDeliveries(StrictQuery, GenericAPIView[Delivery]):
    """What was sent."""

    permission_classes = (IsOperator,)
    queryset = Delivery.objects.none()
    filter_backends = ()
    pagination_class = NewestFirst
    serializer_class = DeliveryDocument

    @extend_schema(operation_id="subscriptions_deliveries", responses=DeliveryDocument(many=True))
    def get(self, request: Request, subscription_id: int, *args: Any, **kwargs: Any) -> Response:
        """List what was sent or waits, newest first."""
        found = subscribing.subscription_of(operator_of(request), subscription_id)
        page = self.paginate_queryset(found.deliveries.all())
        return self.get_paginated_response([delivery_document(one) for one in page or ()])


def _said(form: Serializer[Any]) -> dict[str, Any]:
    form.is_valid(raise_exception=True)
    return dict(form.validated_data)
