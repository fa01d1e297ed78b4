"""What was recorded and what was measured from it."""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from registry.models.bench import BenchSession, Gauge, Power, Rig, Unit
from registry.models.catalogue import PumpModel, Revision
from registry.models.elevation import Elevation
from registry.models.people import Clinic, Operator


class Edition(models.Model):
    """A numbered version of the metric definitions. Exactly one is current."""

    number = models.PositiveSmallIntegerField(primary_key=True)
    is_current = models.BooleanField(default=False)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["is_current"], condition=models.Q(is_current=True), name="one_current_edition"
            ),
        )

    def __str__(self) -> str:
        return f"edition {self.number}"


class Trace(models.Model):
    """A trace file's bytes, kept for ever under their SHA-256 digest (hexadecimal)."""

    digest = models.CharField(max_length=64, primary_key=True)
    size = models.PositiveIntegerField()
    received_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.digest

    @property
    def storage_name(self) -> str:
        """Where the bytes lie in the trace storage: two levels of folders keep each folder small."""
        return f"{self.digest[:2]}/{self.digest[2:4]}/{self.digest}"


class RunState(models.TextChoices):
    """Only accepted runs count in answers; nothing is deleted."""

    ACCEPTED = "accepted"
    HELD = "held"
    WITHDRAWN = "withdrawn"


class Mode(models.TextChoices):
    """What the pump is set to do."""

    STIMULATION = "stimulation"
    EXPRESSION = "expression"


class Side(models.TextChoices):
    """Which side of a double pump was recorded."""

    SINGLE = "single"
    LEFT = "left"
    RIGHT = "right"


class Run(models.Model):
    """One recording at one setting. Columns nobody searches by have no index, so that uploads stay cheap.

    `identity` is the digest of clinic, trace and provenance: the same upload again is the same run.
    `provenance` is what was said, as it was said; the columns are what was understood.
    """

    identity = models.CharField(max_length=64, unique=True)
    state = models.CharField(max_length=10, choices=RunState.choices)
    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="runs", db_index=False)
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="runs")
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="runs", db_index=False)
    session = models.ForeignKey(BenchSession, on_delete=models.PROTECT, related_name="runs")
    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="runs", db_index=False)
    trace = models.ForeignKey(Trace, on_delete=models.PROTECT, related_name="runs")
    asserted = models.ForeignKey(
        Revision, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    firmware = models.CharField(max_length=40, blank=True)
    mode = models.CharField(max_length=12, choices=Mode.choices)
    programme = models.CharField(max_length=40, blank=True)
    level = models.CharField(max_length=20)
    side = models.CharField(max_length=6, choices=Side.choices, default=Side.SINGLE)
    charge_percent = models.FloatField(null=True)
    recorded_at = models.DateTimeField(null=True)
    zero_offset_mmhg = models.FloatField(null=True)
    note = models.CharField(max_length=500, blank=True)
    provenance = models.JSONField()
    read = models.JSONField(help_text="what was understood of the file")
    usual = models.JSONField(
        null=True, help_text="the gauge's usual reading as it was when this was uploaded"
    )
    created_at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True)
    withdrawn_by = models.ForeignKey(
        Operator, null=True, on_delete=models.PROTECT, related_name="+", db_index=False
    )
    withdrawn_why = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=~models.Q(state="withdrawn")
                | (models.Q(withdrawn_at__isnull=False) & ~models.Q(withdrawn_why="")),
                name="withdrawn_with_a_reason",
            ),
        )
        indexes = (
            models.Index(fields=["pump_model", "-id"], name="runs_of_a_model"),
            models.Index(fields=["clinic", "-id"], name="runs_of_a_clinic"),
            models.Index(
                fields=["unit", "clinic", "asserted"],
                condition=models.Q(state="accepted"),
                name="accepted_words_on_units",
            ),
            models.Index(
                fields=["pump_model", "mode", "level"],
                condition=~models.Q(state="accepted"),
                name="runs_left_out",
            ),
        )

    def __str__(self) -> str:
        return f"run {self.pk}"


class Measurement(models.Model):
    """One metric of one run under one edition. Its unique constraint serves as the index by run.

    `u` is the combined standard uncertainty; its random part shrinks over repeats, its systematic part is
    shared by everything the same gauge measured. `parts` are the standard uncertainties both are made of.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="measurements", db_index=False)
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+", db_index=False)
    metric = models.CharField(max_length=40)
    value = models.FloatField()
    unit = models.CharField(max_length=20)
    u = models.FloatField()
    u_random = models.FloatField()
    u_systematic = models.FloatField()
    parts = models.JSONField(default=dict)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["run", "edition", "metric"], name="one_value_a_metric"),
        )

    def __str__(self) -> str:
        return f"{self.metric} {self.value} {self.unit}"


class RunDetails(models.Model):
    """What is asked for of one run at a time, under one edition.

    `cycles` holds a list for each quantity, in order of time. `imbalance` is left less right by metric, where
    the file holds both sides of a pump; it is there with either side's run.
    """

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="details", db_index=False)
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+", db_index=False)
    cycles = models.JSONField()
    imbalance = models.JSONField(null=True)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["run", "edition"], name="details_once_a_run"),)

    def __str__(self) -> str:
        return f"details of run {self.run_id} under edition {self.edition_id}"


class Finding(models.Model):
    """What the server noted about a run: code, severity, message, what to do about it."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="findings")
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+", db_index=False)
    code = models.CharField(max_length=40)
    severity = models.CharField(max_length=10)
    message = models.CharField(max_length=500)
    hint = models.CharField(max_length=500)
    at_s = models.FloatField(null=True)

    class Meta:
        ordering = ("id",)

    def __str__(self) -> str:
        return self.code


class UnitSummary(models.Model):
    """Count, mean and sum of squared deviations of a metric over the accepted runs of one unit, by one
    clinic with one gauge and rig, on one power and in one band of elevation, at one setting and edition.
    Answers read these and never a trace.

    A summary of losses keeps each run beside, in order of time: `each_value`, and `each_at` when it was
    recorded, or uploaded if a logger's clock said later. Null in those of other metrics.
    """

    pump_model = models.ForeignKey(
        PumpModel, on_delete=models.PROTECT, related_name="summaries", db_index=False
    )
    unit = models.ForeignKey(Unit, on_delete=models.PROTECT, related_name="summaries", db_index=False)
    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="summaries", db_index=False)
    gauge = models.ForeignKey(
        Gauge, null=True, on_delete=models.PROTECT, related_name="summaries", db_index=False
    )
    rig = models.ForeignKey(Rig, on_delete=models.PROTECT, related_name="summaries", db_index=False)
    power = models.CharField(max_length=10, choices=Power.choices, blank=True)
    elevation = models.CharField(max_length=12, choices=Elevation.choices, blank=True)
    mode = models.CharField(max_length=12, choices=Mode.choices)
    programme = models.CharField(max_length=40, blank=True)
    level = models.CharField(max_length=20)
    side = models.CharField(max_length=6, choices=Side.choices)
    edition = models.ForeignKey(Edition, on_delete=models.PROTECT, related_name="+", db_index=False)
    metric = models.CharField(max_length=40)
    metric_unit = models.CharField(max_length=20)
    count = models.PositiveIntegerField()
    mean = models.FloatField()
    sum_squares = models.FloatField(help_text="sum of squared deviations from the mean")
    u_random = models.FloatField(help_text="root mean square over the runs")
    u_systematic = models.FloatField(help_text="root mean square over the runs")
    each_at = ArrayField(models.DateTimeField(), null=True)
    each_value = ArrayField(models.FloatField(), null=True)
    refreshed_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=[
                    "unit",
                    "clinic",
                    "gauge",
                    "rig",
                    "power",
                    "elevation",
                    "mode",
                    "programme",
                    "level",
                    "side",
                    "edition",
                    "metric",
                ],
                name="one_summary_a_cell",
                nulls_distinct=False,
            ),
        )
        indexes = (
            models.Index(
                fields=["pump_model", "edition", "metric", "mode", "level"], name="summaries_of_a_setting"
            ),
            models.Index(fields=["gauge", "pump_model"], name="models_of_a_gauge"),
        )  # fmt: skip

    def __str__(self) -> str:
        return f"{self.metric} of {self.unit_id}"
