"""Shapes of runs and measurements."""

from typing import Any

from rest_framework import serializers

from api.pagination import LONGEST
from api.serializers.strict import Prose, Strict
from registry.intake.provenance import SIGNS
from registry.models import Mode, RunState, Side


class QuantityDocument(serializers.Serializer[Any]):
    """A value with its standard uncertainty; repeats shrink the random part only."""

    value = serializers.FloatField()
    unit = serializers.CharField()
    uncertainty = serializers.FloatField()
    u_random = serializers.FloatField()
    u_systematic = serializers.FloatField()
    parts = serializers.DictField(
        child=serializers.FloatField(), help_text="standard uncertainties by part, in the value's unit"
    )
    shown = serializers.CharField(help_text="for people: no more digits than the uncertainty carries")


class FindingDocument(serializers.Serializer[Any]):
    """What the server noted and what to do about it. Severity hold keeps the run out of answers."""

    code = serializers.CharField()
    severity = serializers.ChoiceField(choices=["note", "caution", "hold"])
    message = serializers.CharField()
    hint = serializers.CharField()
    at_s = serializers.FloatField(allow_null=True)


class MeasuredDocument(serializers.Serializer[Any]):
    """What a trace measures as."""

    state = serializers.ChoiceField(choices=RunState.choices)
    edition = serializers.IntegerField()
    measurements = serializers.DictField(child=QuantityDocument())
    findings = FindingDocument(many=True)
    read = serializers.DictField(help_text="how the file was understood")


class ChannelDocument(serializers.Serializer[Any]):
    """A column of vacuum in the file."""

    side = serializers.ChoiceField(choices=Side.choices)
    column = serializers.CharField()
    unit = serializers.CharField()


class ReadingFields(serializers.Serializer[Any]):
    """How files are to be read, where neither they nor the upload say."""

    unit = serializers.CharField(required=False, allow_null=True, help_text="of the vacuum")
    sign = serializers.ChoiceField(choices=SIGNS, required=False, allow_null=True)
    rate_hz = serializers.FloatField(required=False, allow_null=True)
    time_unit = serializers.CharField(required=False, allow_null=True)
    time_column = serializers.CharField(
        required=False, allow_null=True, help_text="heading, or number from 1"
    )
    vacuum_column = serializers.CharField(
        required=False, allow_null=True, help_text="heading, or number from 1"
    )


class ReadingForm(ReadingFields):
    """At least one of the fields."""


class ReadingDocument(ReadingFields):
    """What is kept for a gauge, by whom and since when; null for what is not."""

    gauge = serializers.CharField()
    saved_by = serializers.CharField()
    saved_at = serializers.DateTimeField()


class SidesDocument(serializers.Serializer[Any]):
    """Both sides of a double pump."""

    left = MeasuredDocument()
    right = MeasuredDocument()


class PreviewDocument(MeasuredDocument):
    """What a trace measures as, and how it would be read.

    A file of both sides of a double pump, of which no side is asked for, has both under `sides`; the left
    one stands at the top.
    """

    channels = ChannelDocument(many=True)
    usual = ReadingFields(help_text="what can be kept for the gauge, so that its next file needs no words")
    sides = SidesDocument(required=False)
    imbalance = serializers.DictField(child=QuantityDocument(), required=False, help_text="left less right")


class OtherSideDocument(serializers.Serializer[Any]):
    """The run of the other side of the same recording."""

    id = serializers.IntegerField()
    side = serializers.ChoiceField(choices=Side.choices)
    state = serializers.ChoiceField(choices=RunState.choices)


class RunDocument(MeasuredDocument):
    """A run as stored. What concerns its other side is told of a single run, not in lists.

    `operator` is shown to the run's own clinic; `note`, `withdrawn_why` and the headings of the file's
    columns in `read` to the clinic and to curators.
    """

    id = serializers.IntegerField()
    digest = serializers.CharField()
    pump_model = serializers.CharField()
    serial = serializers.CharField()
    revision = serializers.CharField(allow_null=True)
    revision_basis = serializers.ChoiceField(choices=["declared", "observed", "unknown"])
    asserted_revision = serializers.CharField(allow_null=True)
    clinic = serializers.CharField()
    operator = serializers.CharField(required=False)
    gauge = serializers.CharField(help_text="empty when none was named")
    rig = serializers.CharField()
    power = serializers.CharField()
    mode = serializers.ChoiceField(choices=Mode.choices)
    programme = serializers.CharField()
    level = serializers.CharField()
    side = serializers.ChoiceField(choices=Side.choices)
    firmware = serializers.CharField()
    recorded_at = serializers.DateTimeField(allow_null=True)
    received_at = serializers.DateTimeField()
    note = serializers.CharField(required=False)
    withdrawn_why = serializers.CharField(required=False, help_text="empty unless withdrawn")
    other_side = OtherSideDocument(required=False, help_text="where both sides of one file are stored")
    imbalance = serializers.DictField(
        child=QuantityDocument(), required=False, help_text="left less right, likewise"
    )


class UploadForm(serializers.Serializer[Any]):
    """A trace file and where it came from."""

    trace = serializers.FileField(help_text="the logger's file, at most 20 MiB")
    provenance = serializers.CharField(help_text="a JSON object of provenance keys")


class MeasureForm(serializers.Serializer[Any]):
    """A trace file; provenance may name the gauge and its zero."""

    trace = serializers.FileField(help_text="the logger's file, at most 20 MiB")
    provenance = serializers.CharField(required=False, help_text="a JSON object of provenance keys")


class WithdrawForm(Strict):
    """Why a run is withdrawn."""

    reason = Prose(max_length=300)


class RunQuery(serializers.Serializer[Any]):
    """Under which edition?"""

    edition = serializers.IntegerField(
        required=False, min_value=1, max_value=32767, help_text="the current one if not said"
    )


class CyclesQuery(RunQuery):
    """Which cycles?"""

    cursor = serializers.IntegerField(
        required=False, default=0, min_value=0, max_value=10**9, help_text="cycles to pass over"
    )
    page_size = serializers.IntegerField(required=False, default=LONGEST, min_value=1, max_value=LONGEST)


class CycleDocument(serializers.Serializer[Any]):
    """One cycle, or the place of one that is missing. What is not known is null."""

    number = serializers.IntegerField(help_text="from 1, in order of time")
    start_s = serializers.FloatField(allow_null=True, help_text="seconds from the first sample")
    period_s = serializers.FloatField(allow_null=True)
    peak_mmhg = serializers.FloatField(allow_null=True)
    residual_mmhg = serializers.FloatField(allow_null=True)
    duty = serializers.FloatField(allow_null=True)
    loss = serializers.ChoiceField(
        choices=["collapsed", "weak", "missing"], allow_null=True, help_text="null for a good cycle"
    )


class CyclesDocument(serializers.Serializer[Any]):
    """The cycles of a run, as kept when it was measured."""

    run = serializers.IntegerField()
    edition = serializers.IntegerField()
    count = serializers.IntegerField(help_text="of all cycles")
    results = CycleDocument(many=True)
    next = serializers.CharField(allow_null=True, help_text="address of the next page")
