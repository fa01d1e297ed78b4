"""Shapes of the question which revision a serial or a range is, and of its answer."""

from typing import Any

from rest_framework import serializers

from api.serializers.answers import BASES, AnswerDocument


class SerialsQuery(serializers.Serializer[Any]):
    """Which revision is this serial, or this range?"""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    first = serializers.CharField(
        max_length=130, help_text="a serial as on the label, its beginning, or a whole range as typed"
    )
    last = serializers.CharField(
        max_length=60, required=False, help_text="the end of a range, or its last signs"
    )


class UnderstoodDocument(serializers.Serializer[Any]):
    """What was typed, and what was taken."""

    typed = serializers.CharField()
    first = serializers.CharField()
    last = serializers.CharField()
    changes = serializers.ListField(child=serializers.CharField(), help_text="each change, in words")
    scheme = serializers.CharField(help_text="the pattern that read it")
    why_this_scheme = serializers.CharField(
        help_text="where several patterns read it, why this one was taken"
    )


class MadeDocument(serializers.Serializer[Any]):
    """When the serials say they were made."""

    first = serializers.DateField()
    last = serializers.DateField()
    says = serializers.CharField()
    year_by = serializers.CharField(help_text="how the year was told")


class ConflictDocument(serializers.Serializer[Any]):
    """A source that says otherwise."""

    revision = serializers.CharField(allow_null=True)
    basis = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    units = serializers.IntegerField()
    says = serializers.CharField()


class SpanAnswer(serializers.Serializer[Any]):
    """A stretch of serials of which one thing is known."""

    first = serializers.CharField()
    last = serializers.CharField()
    revision = serializers.CharField(allow_null=True)
    basis = serializers.ChoiceField(choices=BASES)
    first_excluded = serializers.BooleanField(help_text="the stretch begins after `first`")
    last_excluded = serializers.BooleanField(help_text="the stretch ends before `last`")
    units = serializers.IntegerField()
    clinics = serializers.IntegerField()
    first_seen = serializers.DateField(allow_null=True, help_text="day of the first run of these units")
    last_seen = serializers.DateField(allow_null=True, help_text="day of the last")
    confidence = serializers.FloatField(allow_null=True)
    supporting = serializers.IntegerField()
    contradicting = serializers.IntegerField()
    probability = serializers.FloatField(
        allow_null=True, help_text="of an inferred stretch: how likely all of it is this revision"
    )
    conflicts = ConflictDocument(many=True)
    lacks = serializers.CharField(allow_null=True, help_text="of an unknown stretch: what would fill it")


class SerialsDocument(AnswerDocument):
    """Sub-spans in serial order; what is not known is said as unknown."""

    understood = UnderstoodDocument()
    made = MadeDocument(allow_null=True)
    plant = serializers.CharField(allow_null=True, help_text="where made, if the serial says so")
    spans = SpanAnswer(many=True)
    next_first = serializers.CharField(
        allow_null=True, help_text="where to ask on from when the answer was cut for its length, else null"
    )
