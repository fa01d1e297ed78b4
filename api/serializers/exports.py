"""What exports are asked with, and the shape of their data dictionary."""

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from api.serializers.answers import DistributionsQuery, elevation_field
from api.serializers.asking import Moment, OneOf
from api.serializers.benches import BenchesQuery
from api.serializers.claims import ClaimsQuery
from api.serializers.comparing import ComparisonsQuery, SwapsQuery
from api.serializers.matching import SettingsQuery
from api.serializers.serials import SerialsQuery
from registry.answers.exports.build import FORMATS
from registry.answers.exports.columns import Kind
from registry.answers.exports.selection import ANY
from registry.answers.exports.tables import TABLES
from registry.models import Mode, Power, RunState

STATES = (*RunState.values, ANY)


class MeasurementsQuery(serializers.Serializer[Any]):
    """Which runs' measurements?"""

    model = serializers.CharField(max_length=120, help_text="the pump model's name")
    revision = serializers.CharField(max_length=40, required=False)
    serial = serializers.CharField(max_length=60, required=False)
    clinic = serializers.CharField(max_length=40, required=False)
    gauge = serializers.CharField(max_length=40, required=False)
    mode = OneOf(choices=Mode.choices, required=False)
    programme = serializers.CharField(max_length=40, required=False)
    level = serializers.CharField(max_length=20, required=False)
    metric = serializers.CharField(max_length=40, required=False)
    rig = serializers.CharField(max_length=300, required=False, help_text="as the rigs list writes it")
    power = OneOf(choices=[Power.MAINS, Power.BATTERY], required=False)
    elevation = elevation_field()
    state = OneOf(choices=STATES, required=False, help_text="accepted unless said")
    since = Moment(required=False, help_text="runs received from then on")
    until = Moment(required=False, help_text="runs received before then")
    as_of = Moment(required=False, help_text="a past time: the runs that counted then, as they counted")
    edition = serializers.IntegerField(
        min_value=1, max_value=32767, required=False, help_text="the current one unless said"
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse bounds between which no run can lie: they are taken for each other, most likely."""
        if "since" in attrs and "until" in attrs and attrs["since"] >= attrs["until"]:
            raise serializers.ValidationError({"until": ["must be later than since"]})
        return attrs


# What each table is asked with beside what all of them take.
QUERIES: Mapping[str, type[serializers.Serializer[Any]]] = {
    "measurements": MeasurementsQuery,
    "serials": SerialsQuery,
    "distributions": DistributionsQuery,
    "comparisons": ComparisonsQuery,
    "part-swaps": SwapsQuery,
    "settings-matches": SettingsQuery,
    "claims": ClaimsQuery,
    "benches": BenchesQuery,
    "rounds": BenchesQuery,
}


class DictionaryQuery(serializers.Serializer[Any]):
    """The dictionary of which table?"""

    of = OneOf(choices=list(TABLES), default="measurements", help_text="which table")
    format = OneOf(choices=["json", "csv"], default="json")
    bom = serializers.BooleanField(default=False, help_text="CSV for spreadsheets: a byte order mark first")
    edition = MeasurementsQuery().fields["edition"]


class FileQuery(serializers.Serializer[Any]):
    """Which table, as what kind of file?"""

    of = OneOf(choices=list(TABLES), default="measurements", help_text="which table")
    format = OneOf(choices=FORMATS, default="csv")
    bom = serializers.BooleanField(default=False, help_text="CSV for spreadsheets: a byte order mark first")


class ExportQuery(FileQuery):
    """All that any table is asked with, for the schema; each table takes its own of these and no other."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """The file's parameters, then those of every table, each once and none required."""
        fields = dict(super().get_fields())
        for query in QUERIES.values():
            for name, field in query().get_fields().items():
                field.required = False
                fields.setdefault(name, field)
        return fields


class ColumnDocument(serializers.Serializer[Any]):
    """One column of a table."""

    name = serializers.CharField()
    type = serializers.ChoiceField(choices=[kind.value for kind in Kind])
    unit = serializers.CharField(help_text="of its numbers; empty where the row says it or there is none")
    description = serializers.CharField()


class MetricDocument(serializers.Serializer[Any]):
    """One metric as the edition defines it."""

    name = serializers.CharField()
    unit = serializers.CharField()
    definition = serializers.CharField()


class DictionaryDocument(serializers.Serializer[Any]):
    """What the columns of a table hold and what its metrics are."""

    of = serializers.ChoiceField(choices=list(TABLES))
    description = serializers.CharField(help_text="what one row is")
    edition = serializers.IntegerField()
    columns = ColumnDocument(many=True)
    metrics = MetricDocument(many=True)
    notes = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
