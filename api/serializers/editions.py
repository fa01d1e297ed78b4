"""Shapes of editions."""

from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from registry.models import Edition
from registry.waveform.editions import EDITIONS


class DefinitionDocument(serializers.Serializer[Any]):
    """One metric of an edition."""

    name = serializers.CharField()
    unit = serializers.CharField()
    definition = serializers.CharField()


class EditionDocument(serializers.ModelSerializer[Edition]):
    """A numbered version of the metric definitions."""

    metrics = serializers.SerializerMethodField(
        help_text="empty for an edition that this version of the program no longer knows"
    )

    class Meta:
        model = Edition
        fields = ("number", "is_current", "metrics")

    @extend_schema_field(DefinitionDocument(many=True))
    def get_metrics(self, edition: Edition) -> list[dict[str, Any]]:
        """Name, unit and definition of each metric."""
        known = EDITIONS.get(edition.number)
        return [] if known is None else [asdict(metric) for metric in known.metrics.values()]
