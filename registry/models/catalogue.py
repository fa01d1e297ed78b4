"""What is on the market: makers, pump models, their revisions, serials and claims. Curated, with history."""

import pghistory
from django.contrib.postgres.constraints import ExclusionConstraint
from django.contrib.postgres.fields import ArrayField, DecimalRangeField, RangeOperators
from django.contrib.postgres.indexes import GistIndex
from django.db import models
from django.db.models import Deferrable, F, Func, Q, Value
from django.db.models.functions import Upper


@pghistory.track()
class Maker(models.Model):
    """Whose label a pump bears."""

    name = models.CharField(max_length=120, unique=True)

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class PumpModel(models.Model):
    """The name a pump is sold under."""

    maker = models.ForeignKey(Maker, on_delete=models.PROTECT, related_name="pump_models")
    name = models.CharField(max_length=120)
    catalogue_version = models.PositiveIntegerField(
        default=0, help_text="rises with every load that changes how its serials are read"
    )

    class Meta:
        constraints = (models.UniqueConstraint(Upper("name"), name="one_pump_model_a_name"),)

    def __str__(self) -> str:
        return self.name


@pghistory.track()
class SerialScheme(models.Model):
    """How serials of a model are read.

    `pattern` is a regular expression with named groups; `order` lists the groups that order serials, most
    significant first. Groups not in `order` name the series (a plant, say), and serials of different series
    are never compared. `date` says which groups spell when a unit was made (`models.serial_dates`), `plant`
    which one names where. Schemes with an `era` succeed each other in that order.
    """

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="serial_schemes")
    pattern = models.CharField(max_length=200)
    order = ArrayField(models.CharField(max_length=40), size=4)
    position = models.PositiveSmallIntegerField(default=0)
    date = models.JSONField(default=dict, db_default=Value({}, models.JSONField()), blank=True)
    plant = models.CharField(max_length=40, db_default="", blank=True, default="")
    era = models.PositiveSmallIntegerField(null=True)

    class Meta:
        ordering = ("position", "id")
        constraints = (
            models.UniqueConstraint(fields=["pump_model", "pattern"], name="one_scheme_a_pattern"),
        )

    def __str__(self) -> str:
        return self.pattern


@pghistory.track()
class Revision(models.Model):
    """A physically distinct build sold under one name."""

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="revisions")
    label = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField()
    firmware = ArrayField(models.CharField(max_length=40), default=list, blank=True)
    marks = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ("order",)
        constraints = (
            models.UniqueConstraint(fields=["pump_model", "label"], name="one_revision_a_label"),
            models.UniqueConstraint(
                fields=["pump_model", "order"],
                name="one_revision_an_order",
                deferrable=Deferrable.DEFERRED,
            ),
        )

    def __str__(self) -> str:
        return self.label


class SpanBasis(models.TextChoices):
    """Where a stored span comes from. What lies between stored spans is inferred when asked, never stored."""

    DECLARED = "declared"
    OBSERVED = "observed"


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class SerialSpan(models.Model):
    """A run of serials tied to a revision, with who said so. `keys` are the places of first and last."""

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="serial_spans")
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="spans")
    scheme = models.ForeignKey(SerialScheme, on_delete=models.PROTECT, related_name="spans")
    series = models.CharField(max_length=80, blank=True)
    first = models.CharField(max_length=40)
    last = models.CharField(max_length=40)
    keys = DecimalRangeField()
    basis = models.CharField(max_length=10, choices=SpanBasis.choices)
    source = models.CharField(max_length=300)
    said_by = models.ForeignKey("registry.Operator", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (
            ExclusionConstraint(
                name="declared_spans_apart",
                expressions=[
                    (F("scheme"), RangeOperators.EQUAL),
                    (F("series"), RangeOperators.EQUAL),
                    (F("keys"), RangeOperators.OVERLAPS),
                ],
                condition=Q(basis="declared"),
                # A load may move a border between two spans: only its outcome has to hold.
                deferrable=Deferrable.DEFERRED,
            ),
            models.UniqueConstraint(
                fields=["revision", "first", "last", "basis"], name="one_span_a_revision_and_basis"
            ),
        )
        indexes = (
            GistIndex(fields=["scheme", "series", "keys"], name="spans_by_place"),
            models.Index(F("scheme"), F("series"), Func(F("keys"), function="lower"), name="spans_in_order"),
        )

    def __str__(self) -> str:
        return f"{self.first} to {self.last}"


@pghistory.track(pghistory.InsertEvent(), pghistory.UpdateEvent(), pghistory.DeleteEvent())
class Claim(models.Model):
    """What a maker or supplier says a setting does, with where it was read."""

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="claims")
    metric = models.CharField(max_length=40)
    relation = models.CharField(max_length=20)
    value = models.FloatField()
    unit = models.CharField(max_length=30)
    mode = models.CharField(max_length=20, blank=True)
    programme = models.CharField(max_length=40, blank=True)
    level = models.CharField(max_length=20, blank=True)
    source = models.CharField(max_length=300)
    said_by = models.ForeignKey("registry.Operator", null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["pump_model", "metric", "relation", "mode", "programme", "level", "source"],
                name="one_claim_a_source",
            ),
        )

    def __str__(self) -> str:
        if self.relation == "same as before":
            return f"{self.metric} {self.relation}"
        return f"{self.metric} {self.relation} {self.value:g} {self.unit}"
