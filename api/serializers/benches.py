"""Shapes of benches compared, and of what they are asked with."""

from typing import Any

from rest_framework import serializers

from api.serializers.answers import CELL_STATES, SettingDocument, StampedDocument
from api.serializers.comparing import WhenQuery

QUANTITIES = ("vacuum", "cycle_rate")
MARKS = ("acceptable", "warning", "action")
EN_MARKS = ("acceptable", "action")


class BenchesQuery(WhenQuery):
    """How do benches compare?"""


class OffsetDocument(serializers.Serializer[Any]):
    """How far a bench reads from all others, in per cent. Null where the counts do not carry it."""

    quantity = serializers.ChoiceField(choices=QUANTITIES)
    offset_percent = serializers.FloatField(allow_null=True, help_text="from the robust mean of all")
    low_percent = serializers.FloatField(allow_null=True, help_text="of the 95 % interval")
    high_percent = serializers.FloatField(allow_null=True)
    declared_percent = serializers.FloatField(help_text="standard uncertainty that the gauges declare")
    z_prime = serializers.FloatField(allow_null=True, help_text="z' as in ISO 13528")
    reads = serializers.ChoiceField(choices=MARKS, allow_null=True, help_text="how z' is read")
    en = serializers.FloatField(allow_null=True, help_text="E_n against what the gauges declare")
    en_reads = serializers.ChoiceField(choices=EN_MARKS, allow_null=True)
    units = serializers.IntegerField(help_text="units read of builds that others read")
    builds = serializers.IntegerField()
    others = serializers.IntegerField(help_text="other benches that read those builds")
    state = serializers.ChoiceField(choices=CELL_STATES)
    missing = serializers.CharField(help_text="what is missing when thin")


class ClinicOffset(OffsetDocument):
    """A clinic's bench. Who asks sees the own clinic by name and others by a code."""

    clinic = serializers.CharField()
    own = serializers.BooleanField()


class GaugeOffset(OffsetDocument):
    """A gauge of the clinic that asks."""

    gauge = serializers.CharField()


class ScatterDocument(serializers.Serializer[Any]):
    """Standard deviations between benches, in per cent."""

    vacuum = serializers.FloatField(allow_null=True)
    cycle_rate = serializers.FloatField(allow_null=True)


class ScoreDocument(serializers.Serializer[Any]):
    """What a clinic read of a unit that went round, and its scores as in ISO 13528."""

    clinic = serializers.CharField(help_text="by name for the own clinic alone; codes differ by round")
    own = serializers.BooleanField()
    value = serializers.FloatField()
    u = serializers.FloatField(help_text="standard uncertainty")
    z = serializers.FloatField()
    z_prime = serializers.FloatField()
    reads = serializers.ChoiceField(choices=MARKS, help_text="how the score named by `by` is read")
    en = serializers.FloatField(help_text="E_n against all other clinics")
    en_reads = serializers.ChoiceField(choices=EN_MARKS)


class RoundSetting(SettingDocument):
    """One metric at one setting of a unit that went round; figures are in `unit`."""

    assigned = serializers.FloatField(help_text="robust mean of all clinics")
    u_assigned = serializers.FloatField(help_text="its standard uncertainty")
    s_robust = serializers.FloatField(help_text="robust standard deviation between clinics")
    sigma = serializers.FloatField(help_text="standard deviation that clinics are assessed by")
    by = serializers.ChoiceField(choices=["z", "z_prime"], help_text="the score that counts")
    scores = ScoreDocument(many=True)


class RoundDocument(serializers.Serializer[Any]):
    """A unit that three clinics or more measured."""

    pump_model = serializers.CharField()
    serial = serializers.CharField()
    first_day = serializers.DateField(allow_null=True)
    last_day = serializers.DateField(allow_null=True)
    clinics = serializers.IntegerField()
    settings = RoundSetting(many=True)


class BenchesDocument(StampedDocument):
    """Offsets of benches over everything measured, and rounds of units that went from clinic to clinic."""

    benches = ClinicOffset(many=True)
    gauges = GaugeOffset(many=True, help_text="of the clinic that asks; else none")
    scatter_percent = ScatterDocument()
    rounds = RoundDocument(many=True)
