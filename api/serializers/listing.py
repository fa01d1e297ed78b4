"""Shapes of listing a revision from an alert."""

from typing import Any

from rest_framework import serializers

from api.serializers.catalogue import Marks
from api.serializers.strict import Strict


class ListingForm(Strict):
    """What the new revision is called. Without an order it comes after the one it was part of."""

    label = serializers.CharField(max_length=40)  # type: ignore[assignment]
    order = serializers.IntegerField(min_value=1, max_value=9999, required=False, allow_null=True)
    marks = Marks(required=False)
    basis = serializers.ChoiceField(choices=["observed", "declared"], required=False, default="observed")


class ListingDocument(serializers.Serializer[Any]):
    """The proposal that was made, with what it would change."""

    proposal = serializers.IntegerField()
    state = serializers.CharField()
    pump_model = serializers.CharField()
    change = serializers.DictField()
    foreseen = serializers.DictField()
    says = serializers.CharField()
