"""Shapes of comparisons between builds, and of what they are asked with."""

from typing import Any

from rest_framework import serializers

from api.serializers.answers import AnswerDocument, PlaceDocument, SettingDocument, elevation_field
from api.serializers.asking import Moment, OneOf
from registry.models import Mode, Power

VERDICTS = ("same", "different", "cannot tell yet")


class WhenQuery(serializers.Serializer[Any]):
    """Under which edition and as of when an answer is made."""

    edition = serializers.IntegerField(
        min_value=1, max_value=32767, required=False, help_text="default: the current"
    )
    as_of = Moment(required=False, help_text="a past time, to be answered as then; default: now")


class NarrowingQuery(WhenQuery):
    """What a comparison is narrowed down to."""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    old = serializers.CharField(max_length=80, help_text="a revision, unit:SERIAL or firmware:TAG")
    new = serializers.CharField(max_length=80, help_text="a revision, unit:SERIAL or firmware:TAG")
    mode = OneOf(choices=Mode.choices, required=False)
    programme = serializers.CharField(max_length=40, required=False)
    level = serializers.CharField(max_length=20, required=False)
    metric = serializers.CharField(
        max_length=40, required=False, help_text="one metric, or `all`; else rate, peak and residual vacuum"
    )
    power = OneOf(choices=[Power.MAINS, Power.BATTERY], required=False)
    elevation = elevation_field()


class ComparisonsQuery(NarrowingQuery):
    """Are these two the same?"""

    rig = serializers.CharField(max_length=300, required=False, help_text="as the rigs list writes it")
    rate_margin = serializers.FloatField(
        required=False, help_text="how much of a cycle rate matters, in per cent (5)"
    )
    vacuum_margin = serializers.FloatField(required=False, help_text="how much vacuum matters, in mmHg (10)")


class SwapsQuery(NarrowingQuery):
    """How much of a difference goes with a part, how much with the base?"""

    part = serializers.CharField(max_length=40, help_text="protector, valve, tubing, flange_mm or load_ml")
    old_part = serializers.CharField(max_length=60, required=False, help_text="the part that belongs to old")
    new_part = serializers.CharField(max_length=60, required=False, help_text="the part that belongs to new")


class NeedsDocument(serializers.Serializer[Any]):
    """How many more units of either would tell with 80 % chance, at clinics that measure both."""

    units = serializers.IntegerField()
    clinics = serializers.IntegerField()
    towards = serializers.ChoiceField(
        choices=["same", "different"], allow_null=True, help_text="what they would show if all is as it seems"
    )


class BandsDocument(serializers.Serializer[Any]):
    """The bands of common practice both cycle rates lie in, and the edges between them."""

    old = serializers.CharField()
    new = serializers.CharField()
    crossed = serializers.ListField(child=serializers.FloatField())
    sure = serializers.BooleanField(help_text="both intervals lie clear of the edges crossed")


class BandDifference(serializers.Serializer[Any]):
    """New less old within one band of elevation; the interval is by itself at 95 %."""

    elevation = serializers.CharField()
    difference = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()


class ComparedDocument(SettingDocument):
    """New less old at one setting. Null where too little was measured to say.

    `elevation` names every band that both were measured in, with `; ` between them.
    """

    old = serializers.FloatField()
    new = serializers.FloatField()
    difference = serializers.FloatField()
    low = serializers.FloatField(allow_null=True, help_text="all differences of the answer at 95 % together")
    high = serializers.FloatField(allow_null=True)
    percent = serializers.FloatField(allow_null=True, help_text="of the old value")
    percent_low = serializers.FloatField(allow_null=True)
    percent_high = serializers.FloatField(allow_null=True)
    margin = serializers.FloatField(allow_null=True, help_text="the least difference that matters")
    p_different = serializers.FloatField(allow_null=True, help_text="times the number of values compared")
    p_same = serializers.FloatField(allow_null=True, help_text="of the two one-sided tests at the margin")
    same_low = serializers.FloatField(
        allow_null=True, help_text="what same is judged by: this difference alone at 90 %, against the margin"
    )
    same_high = serializers.FloatField(allow_null=True)
    verdict = serializers.ChoiceField(choices=VERDICTS)
    matters = serializers.ChoiceField(choices=["yes", "perhaps", "no"], allow_null=True)
    needs = NeedsDocument(allow_null=True)
    bands = BandsDocument(allow_null=True)
    units_old = serializers.IntegerField()
    units_new = serializers.IntegerField()
    clinics_old = serializers.IntegerField()
    clinics_new = serializers.IntegerField()
    clinics_both = serializers.IntegerField()
    spreads = serializers.FloatField(
        allow_null=True,
        help_text="of one unit against a build: the difference over the standard deviation between its units",
    )
    set_aside = serializers.IntegerField(help_text="units set aside because they stand far out")
    by_elevation = BandDifference(many=True, help_text="where both were measured in several bands; else none")


class BehaviourDocument(PlaceDocument):
    """Typical cycle rate and peak vacuum at a setting."""

    rate = serializers.FloatField(help_text="cycles/min")
    vacuum = serializers.FloatField(help_text="mmHg")


ReachDocument = type(
    "ReachDocument",
    (BehaviourDocument,),
    {
        "__doc__": "A setting at which the old one makes 70 cycles/min, and whether the new one does there.",
        "reached": serializers.BooleanField(
            allow_null=True, help_text="null where nothing was measured at that vacuum"
        ),
        "sure": serializers.BooleanField(help_text="whether the new one's rate is known to lie clear of 70"),
        # A Python keyword, hence not written as a field of a class.
        "with": BehaviourDocument(allow_null=True, help_text="the new one's fastest setting at that vacuum"),
    },
)


class LeftOutDocument(serializers.Serializer[Any]):
    """A setting that could not be compared, and why."""

    mode = serializers.CharField()
    programme = serializers.CharField()
    level = serializers.CharField()
    why = serializers.CharField()


class ComparisonsDocument(AnswerDocument):
    """Setting by setting, and the verdict over all of them."""

    old = serializers.CharField()
    new = serializers.CharField()
    verdict = serializers.ChoiceField(choices=VERDICTS)
    settings = ComparedDocument(many=True)
    family = serializers.IntegerField(help_text="values that intervals are adjusted for (Bonferroni)")
    margins = serializers.DictField(child=serializers.CharField())
    reach = ReachDocument(many=True)
    left_out = LeftOutDocument(many=True)


class ShareDocument(serializers.Serializer[Any]):
    """A share of a difference with its 95 % interval; per cent are of the old value."""

    value = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    percent = serializers.FloatField(allow_null=True)
    percent_low = serializers.FloatField(allow_null=True)
    percent_high = serializers.FloatField(allow_null=True)


class SplitDocument(SettingDocument):
    """A difference at one setting: `part` and `base` add up to `total`. `rig` is the rig without the part."""

    units = serializers.ListField(
        child=serializers.IntegerField(), help_text="old base with old and new part, new base likewise"
    )
    old_value = serializers.FloatField()
    total = ShareDocument()
    part = ShareDocument(help_text="what the new part changes, over both bases")
    base = ShareDocument(help_text="what the new base changes, over both parts")
    interaction = ShareDocument(help_text="how much more the new part changes on the new base")
    part_on_old = ShareDocument()
    part_on_new = ShareDocument()
    set_aside = serializers.IntegerField()


class MissingDocument(PlaceDocument):
    """A combination that was not measured, and which run to record."""

    base = serializers.CharField()
    part = serializers.CharField()
    says = serializers.CharField()


class SwapsDocument(AnswerDocument):
    """A difference split between a part and the base that bears it."""

    old = serializers.CharField()
    new = serializers.CharField()
    part = serializers.CharField()
    old_part = serializers.CharField(allow_null=True)
    new_part = serializers.CharField(allow_null=True)
    settings = SplitDocument(many=True)
    missing = MissingDocument(many=True)
