"""Shapes of the catalogue: its declaration, and its records."""

from typing import Any

from rest_framework import serializers

from api.serializers.strict import Prose, Strict
from registry.models import (
    Claim,
    Clinic,
    Maker,
    PumpModel,
    Revision,
    Rig,
    SerialScheme,
    SerialSpan,
    SpanBasis,
    Unit,
)
from registry.plaintext import is_name
from registry.waveform.editions import CURRENT_EDITION, edition_of
from registry.waveform.units import converted, convertible

METRICS = edition_of(CURRENT_EDITION).metrics
# The last one names no value: it is judged by holding a revision against the one before it.
RELATIONS = ("at least", "at most", "equal to", "same as before")


class Marks(serializers.DictField):
    """Visible cues by name, both short texts."""

    child = serializers.CharField(max_length=120)

    def to_internal_value(self, data: Any) -> Any:
        """Return the marks. Raises a validation error; names are held to the rules of the values."""
        marks = super().to_internal_value(data)
        if len(marks) > 50:
            raise serializers.ValidationError("at most 50 marks are taken")
        for name in marks:
            if not (name.strip() and len(name) <= 40 and is_name(name)):
                raise serializers.ValidationError({name: ["the name must be 1 to 40 printable signs"]})
        return marks


class DeclaredDate(Strict):
    """Which parts of a serial spell when its unit was made, and how."""

    group = serializers.ListField(
        child=serializers.CharField(max_length=40),
        min_length=1,
        max_length=4,
        help_text="read one after the other",
    )
    form = serializers.CharField(max_length=12, help_text="of YYYY, YY, Y, A, MM, M, WW, DDD and DD")
    base = serializers.IntegerField(
        min_value=1950, max_value=2200, required=False, help_text="the first year it can mean"
    )
    letters = serializers.CharField(max_length=36, required=False, help_text="of the years, from the base on")
    months = serializers.CharField(max_length=12, required=False, help_text="a sign for each month")

    def to_internal_value(self, data: Any) -> Any:
        """Take one group by its name alone, too."""
        if isinstance(data, dict) and isinstance(data.get("group"), str):
            data = {**data, "group": [data["group"]]}
        return super().to_internal_value(data)


class DeclaredScheme(Strict):
    """How serials are read: a regular expression with named groups, and the groups that order them."""

    pattern = serializers.CharField(max_length=200)
    order = serializers.ListField(child=serializers.CharField(max_length=40), min_length=1, max_length=4)
    date = DeclaredDate(required=False)
    plant = serializers.CharField(max_length=40, required=False, help_text="the part that says where")
    era = serializers.IntegerField(
        min_value=0, max_value=32767, required=False, allow_null=True,
        help_text="forms that succeed each other are numbered, so that a range can go through them",
    )  # fmt: skip


class DeclaredSpan(Strict):
    """A run of serials, its basis, and who said so."""

    first = serializers.CharField(max_length=40)
    last = serializers.CharField(max_length=40)
    basis = serializers.ChoiceField(choices=SpanBasis.choices)
    source = Prose(max_length=300)  # type: ignore[assignment]


class DeclaredRevision(Strict):
    """A build, its place in order, firmware tags and marks."""

    label = serializers.CharField(max_length=40)  # type: ignore[assignment]
    order = serializers.IntegerField(min_value=0, max_value=32767)
    firmware = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False, max_length=50
    )
    marks = Marks(required=False, help_text="at most 50; a name has 1 to 40 signs")
    span = DeclaredSpan(many=True, required=False, max_length=10_000)  # type: ignore[call-arg]


class DeclaredClaim(Strict):
    """What a maker or supplier says a setting does."""

    metric = serializers.ChoiceField(choices=sorted(METRICS))
    relation = serializers.ChoiceField(choices=RELATIONS)
    value = serializers.FloatField(
        min_value=-1e6, max_value=1e6, required=False, help_text="left out for `same as before` alone"
    )
    unit = serializers.CharField(
        max_length=30,
        required=False,
        help_text="the metric's own, or for mmHg any of pressure; needless for `same as before` alone",
    )
    mode = serializers.ChoiceField(choices=["stimulation", "expression"], required=False)
    programme = serializers.CharField(max_length=40, required=False)
    level = serializers.CharField(max_length=20, required=False)
    source = Prose(max_length=300)  # type: ignore[assignment]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """A claim of a value is in a unit of its metric; `same as before` needs none, and stores nought."""
        of_metric = METRICS[attrs["metric"]].unit
        if attrs["relation"] == RELATIONS[-1]:
            return {**attrs, "unit": of_metric, "value": 0.0}
        missing = [name for name in ("value", "unit") if name not in attrs]
        if missing:
            raise serializers.ValidationError({name: ["This field is required."] for name in missing})
        if converted(attrs["value"], attrs["unit"], of_metric) is None:
            usable = ", ".join(convertible(of_metric))
            raise serializers.ValidationError(
                {"unit": [f"'{attrs['unit']}' is no unit of {attrs['metric']}; state the value in: {usable}"]}
            )
        return attrs


class DeclaredModel(Strict):
    """A pump model with all that is declared of it."""

    maker = serializers.CharField(max_length=120)
    name = serializers.CharField(max_length=120)
    serial_scheme = DeclaredScheme(many=True, required=False, max_length=20)  # type: ignore[call-arg]
    revision = DeclaredRevision(many=True, required=False, max_length=200)  # type: ignore[call-arg]
    claim = DeclaredClaim(many=True, required=False, max_length=1000)  # type: ignore[call-arg]


class CatalogueForm(Strict):
    """The catalogue as its file declares it."""

    pump_model = DeclaredModel(many=True, max_length=1000)  # type: ignore[call-arg]


class ChangeDocument(serializers.Serializer[Any]):
    """What loading did to one record."""

    kind = serializers.CharField()
    name = serializers.CharField()
    action = serializers.ChoiceField(choices=["created", "changed", "removed", "unchanged"])


class CatalogueReport(serializers.Serializer[Any]):
    """What loading did."""

    created = serializers.IntegerField()
    changed = serializers.IntegerField()
    removed = serializers.IntegerField()
    unchanged = serializers.IntegerField()
    changes = ChangeDocument(many=True)


class MakerDocument(serializers.ModelSerializer[Maker]):
    """A maker."""

    class Meta:
        model = Maker
        fields = ("id", "name")


class SchemeDocument(serializers.ModelSerializer[SerialScheme]):
    """A serial scheme."""

    date = serializers.DictField(help_text="how it spells the date of making; empty when it does not")

    class Meta:
        model = SerialScheme
        fields = ("pattern", "order", "date", "plant", "era")


class SpanDocument(serializers.ModelSerializer[SerialSpan]):
    """A stored serial span."""

    pump_model = serializers.CharField(source="pump_model.name")
    revision = serializers.CharField(source="revision.label")

    class Meta:
        model = SerialSpan
        fields = ("id", "pump_model", "revision", "first", "last", "basis", "source")


class RevisionDocument(serializers.ModelSerializer[Revision]):
    """A revision with its marks and spans."""

    pump_model = serializers.CharField(source="pump_model.name")
    marks = serializers.DictField(child=serializers.CharField())
    spans = SpanDocument(many=True)

    class Meta:
        model = Revision
        fields = ("id", "pump_model", "label", "order", "firmware", "marks", "spans")


class ClaimDocument(serializers.ModelSerializer[Claim]):
    """A claim as it was read."""

    class Meta:
        model = Claim
        fields = ("id", "metric", "relation", "value", "unit", "mode", "programme", "level", "source")


class PumpModelDocument(serializers.ModelSerializer[PumpModel]):
    """A pump model with its schemes, revisions and claims."""

    maker = serializers.CharField(source="maker.name")
    serial_schemes = SchemeDocument(many=True)
    revisions = RevisionDocument(many=True)
    claims = ClaimDocument(many=True)

    class Meta:
        model = PumpModel
        fields = ("id", "maker", "name", "serial_schemes", "revisions", "claims")


class ClinicDocument(serializers.ModelSerializer[Clinic]):
    """A clinic, by its code."""

    class Meta:
        model = Clinic
        fields = ("id", "code")


class UnitDocument(serializers.ModelSerializer[Unit]):
    """One physical pump."""

    pump_model = serializers.CharField(source="pump_model.name")
    revision = serializers.CharField(source="revision.label", default=None, allow_null=True)

    class Meta:
        model = Unit
        fields = ("id", "pump_model", "serial", "revision", "revision_basis")


class RigDocument(serializers.ModelSerializer[Rig]):
    """A rig; `label` is what the rig filter takes."""

    label = serializers.CharField()  # type: ignore[assignment]

    class Meta:
        model = Rig
        fields = ("id", "label", "protector", "valve", "tubing", "flange_mm", "load_ml")
