"""Shapes of settings that meet a need or are like another one, and of what they are asked with."""

from typing import Any

from rest_framework import serializers

from api.serializers.answers import CELL_STATES, AnswerDocument, PlaceDocument, elevation_field
from api.serializers.asking import OneOf
from api.serializers.comparing import WhenQuery
from registry.answers.matching.length import FEW, MOST
from registry.answers.matching.needs import ALIASES
from registry.models import Mode, Power
from registry.waveform.editions import CURRENT_EDITION, edition_of

# Every metric may be asked for, by its name or its short one.
NEEDS = (*ALIASES, *edition_of(CURRENT_EDITION).metrics)
_RANGE = "70.. for at least, ..30 for at most, 200..240 for between"


class SettingsQuery(WhenQuery):
    """Which settings do this, or are like that one?"""

    model = serializers.CharField(
        max_length=120, required=False, help_text="the pump model's name; every pump without it"
    )
    revision = serializers.CharField(max_length=40, required=False)
    like = serializers.CharField(max_length=120, required=False, help_text="OLD:MODE:LEVEL of a revision")
    like_model = serializers.CharField(
        max_length=120, required=False, help_text="the pump of the old setting, if another one"
    )
    mode = OneOf(choices=Mode.choices, required=False)
    programme = serializers.CharField(max_length=40, required=False)
    power = OneOf(choices=[Power.MAINS, Power.BATTERY], required=False)
    elevation = elevation_field()
    rig = serializers.CharField(max_length=300, required=False, help_text="as the rigs list writes it")
    rate_margin = serializers.FloatField(required=False, help_text="in per cent (5)")
    vacuum_margin = serializers.FloatField(required=False, help_text="in mmHg (10)")
    most = serializers.IntegerField(
        min_value=1,
        max_value=MOST,
        required=False,
        help_text=f"how many settings are listed; {FEW} of every pump and of those like another, else {MOST}",
    )

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """The fields above and a range for each metric."""
        ranges = {
            name: serializers.CharField(max_length=40, required=False, help_text=_RANGE) for name in NEEDS
        }
        return {**super().get_fields(), **ranges}


class MatchedMetric(serializers.Serializer[Any]):
    """One metric at a setting: chances where a need was asked for, distances where a likeness was."""

    centre = serializers.FloatField()
    predict_low = serializers.FloatField(allow_null=True, required=False, help_text="the next unit, at 95 %")
    predict_high = serializers.FloatField(allow_null=True, required=False)
    probability = serializers.FloatField(
        allow_null=True, required=False, help_text="of this need alone, or of being within the margin"
    )
    difference = serializers.FloatField(required=False)
    difference_low = serializers.FloatField(allow_null=True, required=False, help_text="at 95 %")
    difference_high = serializers.FloatField(allow_null=True, required=False)
    in_margins = serializers.FloatField(required=False)


class MatchDocument(PlaceDocument):
    """A setting, by the probability that the next unit meets all needs, or by its distance in margins."""

    model = serializers.CharField()
    revision = serializers.CharField(allow_null=True)
    probability = serializers.FloatField(allow_null=True)
    distance = serializers.FloatField(allow_null=True)
    within = serializers.ChoiceField(
        choices=["within", "not within", "cannot tell"],
        allow_null=True,
        help_text="whether it surely lies within the margins of the old setting; null where a need was asked",
    )
    units = serializers.IntegerField()
    clinics = serializers.IntegerField()
    state = serializers.ChoiceField(choices=CELL_STATES)
    missing = serializers.CharField(help_text="what is missing when thin")
    other_parts = serializers.DictField(
        child=serializers.CharField(),
        required=False,
        help_text="which parts of its own another build or pump was measured with in place of those of the "
        "old setting; where a likeness was asked",
    )
    metrics = serializers.DictField(child=MatchedMetric())


class LikeDocument(serializers.Serializer[Any]):
    """The setting to be like, with what it typically does."""

    model = serializers.CharField()
    revision = serializers.CharField()
    mode = serializers.CharField()
    programme = serializers.CharField()
    level = serializers.CharField()
    rig = serializers.CharField(help_text="what most of its units were measured with")
    units = serializers.IntegerField()
    cycle_rate = serializers.FloatField()
    peak_vacuum = serializers.FloatField()


class SettingsDocument(AnswerDocument):
    """The likeliest or the nearest settings first."""

    model = serializers.CharField(allow_null=True)
    needs = serializers.DictField(child=serializers.CharField())
    like = LikeDocument(allow_null=True)
    settings = MatchDocument(many=True)
    left_off = serializers.IntegerField(help_text="settings that are not listed, less likely or further")
