"""Shapes of claims held against what clinics measure."""

from typing import Any

from rest_framework import serializers

from api.serializers.answers import AnswerDocument, PlaceDocument, elevation_field
from api.serializers.comparing import WhenQuery

VERDICTS = ("upheld", "not upheld", "undecided", "not measured")


class ClaimsQuery(WhenQuery):
    """Does it do what is claimed?"""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    revision = serializers.CharField(max_length=40, required=False)
    elevation = elevation_field()


class ClaimSetting(PlaceDocument):
    """The setting a claim was judged at."""


class JudgedClaim(serializers.Serializer[Any]):
    """A claim about one revision. Null where the measurements do not carry it."""

    metric = serializers.CharField()
    relation = serializers.CharField()
    value = serializers.FloatField(allow_null=True)
    unit = serializers.CharField()
    mode = serializers.CharField(help_text="as claimed, like programme and level; empty where left open")
    programme = serializers.CharField()
    level = serializers.CharField()
    source = serializers.CharField(help_text="where it was read")  # type: ignore[assignment]
    entered_by = serializers.CharField(allow_null=True, help_text="the clinic of the curator")
    entered_at = serializers.DateTimeField(allow_null=True)
    revision = serializers.CharField()
    against = serializers.CharField(allow_null=True, help_text="the revision before, for `same as before`")
    setting = ClaimSetting(allow_null=True)
    metric_unit = serializers.CharField(help_text="of the figures below")
    units = serializers.IntegerField()
    clinics = serializers.IntegerField()
    centre = serializers.FloatField(allow_null=True, help_text="the typical unit")
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    probability = serializers.FloatField(allow_null=True, help_text="that a unit conforms")
    probability_typical = serializers.FloatField(allow_null=True, help_text="that the typical unit does")
    guard_band = serializers.FloatField(allow_null=True, help_text="kept from a limit on either side")
    accept_low = serializers.FloatField(allow_null=True, help_text="a typical unit from here on is upheld")
    accept_high = serializers.FloatField(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)
    missing = serializers.CharField(help_text="what a verdict needs, where there is none; else empty")
    risk = serializers.FloatField(allow_null=True, help_text="that the verdict is wrong")
    says = serializers.CharField()


class ClaimsDocument(AnswerDocument):
    """A row a claim and revision."""

    claims = JudgedClaim(many=True)
