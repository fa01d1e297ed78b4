"""Shapes of runs and measurements."""

from typing import Any

from rest_framework import serializers

from api.serializers.strict import Strict
from registry.models import Mode, RunState, Side


class QuantityDocument(serializers.Serializer[Any]):
    """A value with its standard uncertainty; repeats shrink the random part only."""

    value = serializers.FloatField()
    unit = serializers.CharField()
    uncertainty = serializers.FloatField()
    u_random = serializers.FloatField()
    u_systematic = serializers.FloatField()


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


class RunDocument(MeasuredDocument):
    """A run as stored.

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

    reason = serializers.CharField(max_length=300)


class CyclesDocument(serializers.Serializer[Any]):
    """Values of each cycle in order of time; null where a cycle has none."""

    edition = serializers.IntegerField()
    cycles = serializers.ListField(child=serializers.DictField())
