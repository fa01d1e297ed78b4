"""Shapes of answers and of what they are asked with."""

from typing import Any

from rest_framework import serializers

from api.serializers.asking import Moment, OneOf
from registry.models import Mode, Power

BASES = ("declared", "observed", "inferred", "unknown")
CELL_STATES = ("ok", "thin")


def elevation_field() -> serializers.CharField:
    """The filter on the band of elevation."""
    return serializers.CharField(
        max_length=20, required=False, help_text="low, middle, high, metres as in 620, or `not said`"
    )


class StampedDocument(serializers.Serializer[Any]):
    """What every answer carries: the edition, when it held, one line of plain words, and the cautions."""

    edition = serializers.IntegerField()
    as_of = serializers.DateTimeField()
    says = serializers.CharField()
    cautions = serializers.ListField(child=serializers.CharField())


class AnswerDocument(StampedDocument):
    """An answer about a pump model."""

    model = serializers.CharField()


class DistributionsQuery(serializers.Serializer[Any]):
    """How does this build behave at each setting?"""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    revision = serializers.CharField(max_length=40, required=False)
    mode = OneOf(choices=Mode.choices, required=False)
    programme = serializers.CharField(max_length=40, required=False)
    level = serializers.CharField(max_length=20, required=False)
    metric = serializers.CharField(max_length=40, required=False)
    rig = serializers.CharField(max_length=300, required=False, help_text="as the rigs list writes it")
    power = OneOf(choices=[Power.MAINS, Power.BATTERY], required=False)
    elevation = elevation_field()
    edition = serializers.IntegerField(
        min_value=1, max_value=32767, required=False, help_text="default: the current"
    )
    as_of = Moment(required=False, help_text="a past time, to be answered as then; default: now")


class HistogramDocument(serializers.Serializer[Any]):
    """Unit means counted in bins of equal width; one edge more than counts."""

    edges = serializers.ListField(child=serializers.FloatField())
    counts = serializers.ListField(child=serializers.IntegerField())


class InfluenceDocument(serializers.Serializer[Any]):
    """What one clinic does to a centre. Who asks sees the own clinic by name and others by a code."""

    clinic = serializers.CharField()
    own = serializers.BooleanField()
    units = serializers.IntegerField()
    runs = serializers.IntegerField()
    apart = serializers.FloatField(
        help_text="mean over the units it read, less the centre; what these units differ by themselves is in "
        "it, so it is no offset of the bench (see `benches`)"
    )
    weight = serializers.FloatField(help_text="its share of the centre, 0 to 1")
    shift = serializers.FloatField(allow_null=True, help_text="how far the centre moves without it")


class UncountedDocument(serializers.Serializer[Any]):
    """Runs and units."""

    runs = serializers.IntegerField()
    units = serializers.IntegerField()


class UnusedDocument(serializers.Serializer[Any]):
    """What an answer left out. `held_for` counts runs by finding code, null for a past time."""

    held = serializers.IntegerField()
    withdrawn = serializers.IntegerField()
    held_for = serializers.DictField(child=serializers.IntegerField(), allow_null=True)
    unknown_revision = UncountedDocument(help_text="where a revision was asked for")


class PlaceDocument(serializers.Serializer[Any]):
    """A setting of a pump with what it was measured with."""

    mode = serializers.CharField()
    programme = serializers.CharField()
    level = serializers.CharField()
    side = serializers.CharField()
    rig = serializers.CharField()
    power = serializers.CharField()
    elevation = serializers.CharField(
        help_text="band: below 500 m, 500-1500 m, above 1500 m, or empty when not said"
    )


class SettingDocument(PlaceDocument):
    """One metric there; figures are in `unit`."""

    metric = serializers.CharField()
    unit = serializers.CharField()


class CellDocument(SettingDocument):
    """One metric of one revision at one setting, rig, power and elevation.

    Null where the counts do not carry it.
    """

    revision = serializers.CharField(allow_null=True)
    runs = serializers.IntegerField()
    units = serializers.IntegerField()
    clinics = serializers.IntegerField()
    centre = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    s_repeatability = serializers.FloatField(allow_null=True)
    s_unit = serializers.FloatField(allow_null=True)
    s_clinic = serializers.FloatField(allow_null=True)
    s_between = serializers.FloatField(allow_null=True, help_text="units and clinics together")
    s_reproducibility = serializers.FloatField(allow_null=True)
    predict_low = serializers.FloatField(allow_null=True)
    predict_high = serializers.FloatField(allow_null=True)
    quantiles = serializers.DictField(child=serializers.FloatField(allow_null=True))
    histogram = HistogramDocument()
    state = serializers.ChoiceField(choices=CELL_STATES)
    missing = serializers.CharField(help_text="what is missing when thin")
    reined = serializers.IntegerField(help_text="units drawn in because they stand far out")
    influence = InfluenceDocument(many=True, allow_null=True, help_text="null where there are many cells")
    reined_units = serializers.ListField(
        child=serializers.CharField(), allow_null=True, help_text="their serials; null where many cells"
    )


class DistributionsDocument(AnswerDocument):
    """One cell for each revision, setting, rig, power, band of elevation and metric."""

    cells = CellDocument(many=True)
    left_out = UnusedDocument()
    estimator = serializers.CharField(help_text="how the figures are worked out")
