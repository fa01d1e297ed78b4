"""Editions: which metrics each numbered version defines, and how."""

from typing import Any

from django.db.models import QuerySet
from rest_framework.mixins import ListModelMixin, RetrieveModelMixin
from rest_framework.viewsets import GenericViewSet

from api.pagination import ByNumber
from api.queries import StrictQuery
from api.serializers.editions import EditionDocument
from registry.models import Edition


class Editions(StrictQuery, ListModelMixin, RetrieveModelMixin, GenericViewSet[Edition]):
    """The editions that runs of this registry were measured under."""

    queryset = Edition.objects.all()
    serializer_class = EditionDocument
    pagination_class = ByNumber
    lookup_value_regex = r"\d{1,4}"

    def get_queryset(self) -> QuerySet[Any]:
        return super().get_queryset().order_by("number")
