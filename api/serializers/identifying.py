"""Shapes of an identification and of what it is asked with."""

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from api.serializers.answers import AnswerDocument, PlaceDocument
from api.serializers.strict import Strict
from registry.answers.identifying.pieces import MOST_MARKS
from registry.answers.identifying.traces import KEYS, MOST_TRACES
from registry.models import Mode

KINDS = ("serial", "mark", "firmware", "purchased", "trace")
NEXT_KINDS = ("mark", "serial", "firmware", "setting")
_SKIP = "what not to ask next: serial, firmware, setting or a mark, several with ; between or as a list"
_A_TEXT = {"type": "string", "maxLength": 120}


@extend_schema_field(
    {
        "oneOf": [
            {"type": "array", "items": _A_TEXT, "maxItems": MOST_MARKS},
            {"type": "object", "additionalProperties": _A_TEXT},
        ]
    }
)
class Marks(serializers.Field[Any, Any, Any, Any]):
    """Marks as a list of words (`housing=amber`, `yellowish housing`), or as an object of texts."""

    def to_internal_value(self, data: Any) -> list[str]:
        """Return them as a list of texts."""
        said = [f"{key}={value}" for key, value in data.items()] if isinstance(data, Mapping) else data
        values = data.values() if isinstance(data, Mapping) else data
        if not isinstance(said, list) or not all(isinstance(value, str) for value in values):
            raise serializers.ValidationError("must be a list of texts, or an object of texts")
        return said

    def to_representation(self, value: Any) -> Any:
        """They are only taken in."""
        return value


class IdentifyQuery(serializers.Serializer[Any]):
    """Which revision is the pump in hand? Asked without traces."""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    serial = serializers.CharField(max_length=60, required=False, help_text="as on the label")
    mark = serializers.ListField(
        child=serializers.CharField(max_length=1000),
        required=False,
        max_length=MOST_MARKS,
        help_text="what it looks like, as housing=amber; may come several times, or several with ; between",
    )
    firmware = serializers.CharField(max_length=40, required=False, help_text="as the pump shows it")
    purchased = serializers.DateField(required=False, help_text="day of purchase, such as 2025-03-02")
    skip = serializers.ListField(
        child=serializers.CharField(max_length=1000),
        required=False,
        max_length=MOST_MARKS + 3,
        help_text=_SKIP,
    )


class QuestionForm(Strict):
    """What is known of the pump in hand. `traces` says for each trace file, in order, how it was recorded."""

    model = serializers.CharField(max_length=120)
    serial = serializers.CharField(max_length=60, required=False, allow_blank=True)
    marks = Marks(required=False)
    firmware = serializers.CharField(max_length=40, required=False, allow_blank=True)
    purchased = serializers.DateField(required=False, allow_null=True)
    skip = serializers.ListField(
        child=serializers.CharField(max_length=120),
        required=False,
        max_length=MOST_MARKS + 3,
        help_text=_SKIP,
    )
    traces = serializers.ListField(
        child=serializers.DictField(),
        required=False,
        max_length=MOST_TRACES,
        help_text=f"objects of {', '.join(KEYS)}; mode and level are needed",
    )


class IdentifyForm(serializers.Serializer[Any]):
    """The question as JSON text, and the trace files it speaks of, in its order."""

    question = serializers.CharField(help_text="JSON as in the other form")
    trace = serializers.ListField(child=serializers.FileField(), required=False)


class ChanceDocument(serializers.Serializer[Any]):
    """How likely a revision is; null stands for none of the listed ones. All together are 1."""

    revision = serializers.CharField(allow_null=True)
    probability = serializers.FloatField()


class RecordedAt(PlaceDocument):
    """The setting a trace was set beside."""


class BesideDocument(serializers.Serializer[Any]):
    """One metric as measured, and what each revision does there (null where nobody measured it)."""

    value = serializers.FloatField()
    unit = serializers.CharField()
    uncertainty = serializers.FloatField()
    expected = serializers.DictField(child=serializers.FloatField(allow_null=True))


class EvidenceDocument(serializers.Serializer[Any]):
    """One piece of evidence: what was said, what was understood, and what it weighs.

    `ratio` is how many times likelier it is under `favours` than under `over` (null there: none of the listed
    revisions, or, with a weight that says little or nothing, neither).
    """

    kind = serializers.ChoiceField(choices=KINDS)
    said = serializers.CharField()
    says = serializers.CharField()
    weight = serializers.CharField()
    favours = serializers.CharField(allow_null=True)
    over = serializers.CharField(allow_null=True)
    ratio = serializers.FloatField(allow_null=True)
    key = serializers.CharField(allow_null=True, help_text="the mark that was understood")
    value = serializers.CharField(
        allow_null=True,
        help_text="what was understood, the mark's value or the serial; null for nothing",
    )
    state = serializers.ChoiceField(
        choices=("accepted", "held"), allow_null=True, help_text="of a trace; held ones do not count"
    )
    setting = RecordedAt(allow_null=True)
    measurements = serializers.DictField(child=BesideDocument())


class NextDocument(serializers.Serializer[Any]):
    """The one next question, or setting to record, with the expected information in bits."""

    kind = serializers.ChoiceField(choices=NEXT_KINDS)
    ask = serializers.CharField()
    bits = serializers.FloatField()
    key = serializers.CharField(allow_null=True, help_text="the mark to look at")
    options = serializers.ListField(child=serializers.CharField(), allow_null=True)
    mode = serializers.ChoiceField(choices=Mode.choices, allow_null=True)
    programme = serializers.CharField(allow_null=True)
    level = serializers.CharField(allow_null=True)
    rig = serializers.CharField(allow_null=True)
    power = serializers.CharField(allow_null=True)


class IdentificationDocument(AnswerDocument):
    """Which revision it is, how likely each is, what each piece of evidence weighs, and what to ask next."""

    verdict = serializers.CharField(
        help_text="revision X, none of the listed revisions, either with `probably` before; or cannot tell"
    )
    named = serializers.CharField(allow_null=True, help_text="the revision the verdict names")
    revisions = ChanceDocument(many=True)
    evidence = EvidenceDocument(many=True)
    next = NextDocument(allow_null=True)
