"""What a bench consists of: gauges with their calibrations, rigs, units and sittings."""

import pghistory
from django.db import models
from django.db.models.functions import Upper

from registry.models.catalogue import PumpModel, Revision, SerialScheme
from registry.models.elevation import band_in_database
from registry.models.people import Clinic, Operator


@pghistory.track()
class Gauge(models.Model):
    """A clinic's logging vacuum gauge as declared, in mmHg.

    `accuracy_mmhg` is an absolute limit of error, `accuracy_fraction` one relative to the reading; both are
    half-widths and add up. `declared` keeps the words the clinic used.
    """

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="gauges")
    code = models.CharField(max_length=40)
    gauge_model = models.CharField(max_length=120)
    range_low_mmhg = models.FloatField()
    range_high_mmhg = models.FloatField()
    resolution_mmhg = models.FloatField()
    accuracy_mmhg = models.FloatField()
    accuracy_fraction = models.FloatField()
    declared = models.JSONField(default=dict)

    class Meta:
        constraints = (models.UniqueConstraint("clinic", Upper("code"), name="one_gauge_a_code"),)

    def __str__(self) -> str:
        return self.code


@pghistory.track()
class GaugeCalibration(models.Model):
    """One comparison of a gauge with a reference: vacuum = gain * zeroed reading + offset."""

    gauge = models.ForeignKey(Gauge, on_delete=models.PROTECT, related_name="calibrations")
    on = models.DateField()
    offset_mmhg = models.FloatField()
    gain = models.FloatField()
    uncertainty_mmhg = models.FloatField()
    source = models.CharField(max_length=300)

    class Meta:
        ordering = ("on",)
        constraints = (models.UniqueConstraint(fields=["gauge", "on"], name="one_calibration_a_day"),)

    def __str__(self) -> str:
        return f"{self.gauge_id} on {self.on}"


class GaugeReading(models.Model):
    """How a gauge's files are usually to be read, where neither the file nor the upload says.

    Empty text and null say nothing. Columns are named by heading or by number from 1. A change touches no
    stored run: each keeps what was usual when it came.
    """

    gauge = models.OneToOneField(Gauge, on_delete=models.PROTECT, related_name="reading")
    unit = models.CharField(max_length=20, blank=True)
    sign = models.CharField(max_length=8, blank=True)
    rate_hz = models.FloatField(null=True)
    time_unit = models.CharField(max_length=20, blank=True)
    time_column = models.CharField(max_length=200, blank=True)
    vacuum_column = models.CharField(max_length=200, blank=True)
    saved_by = models.ForeignKey(Operator, on_delete=models.PROTECT, related_name="+", db_index=False)
    saved_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"usual reading of gauge {self.gauge_id}"


# How the label of a rig is put together, for those who take it apart.
BETWEEN_PARTS, NOT_SAID = " / ", "-"


class Rig(models.Model):
    """What stands between pump and gauge. Rigs with the same parts are one rig, whoever built them."""

    protector = models.CharField(max_length=60, blank=True)
    valve = models.CharField(max_length=60, blank=True)
    tubing = models.CharField(max_length=60, blank=True)
    flange_mm = models.FloatField(null=True)
    load_ml = models.FloatField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=["protector", "valve", "tubing", "flange_mm", "load_ml"],
                name="one_rig_of_the_same_parts",
                nulls_distinct=False,
            ),
        )

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """The rig in one line, as answers and the `rig` filter write it."""
        size = [f"{self.flange_mm:g} mm" if self.flange_mm is not None else ""]
        load = [f"{self.load_ml:g} mL" if self.load_ml is not None else ""]
        parts = [self.protector, self.valve, self.tubing, *size, *load]
        return BETWEEN_PARTS.join(part or NOT_SAID for part in parts)


class RevisionBasis(models.TextChoices):
    """Why a unit is taken to be of its revision."""

    DECLARED = "declared"
    OBSERVED = "observed"
    UNKNOWN = "unknown"


class Unit(models.Model):
    """One physical pump. `key` is the serial's place within its series, null when no scheme reads it.

    `asserted` is what a clinic saw; `revision` is what follows from spans and that, with its basis.
    """

    pump_model = models.ForeignKey(PumpModel, on_delete=models.PROTECT, related_name="units")
    serial = models.CharField(max_length=40)
    scheme = models.ForeignKey(SerialScheme, null=True, on_delete=models.PROTECT, related_name="units")
    series = models.CharField(max_length=80, blank=True)
    key = models.DecimalField(max_digits=80, decimal_places=0, null=True)
    asserted = models.ForeignKey(Revision, null=True, on_delete=models.PROTECT, related_name="+")
    revision = models.ForeignKey(Revision, null=True, on_delete=models.PROTECT, related_name="units")
    revision_basis = models.CharField(
        max_length=10, choices=RevisionBasis.choices, default=RevisionBasis.UNKNOWN
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["pump_model", "serial"], name="one_unit_a_serial"),
            models.CheckConstraint(
                condition=models.Q(revision__isnull=True, revision_basis="unknown")
                | models.Q(revision__isnull=False, revision_basis__in=["declared", "observed"]),
                name="a_revision_has_its_basis",
            ),
        )
        indexes = (
            models.Index(fields=["scheme", "series", "key"], name="units_in_serial_order"),
            models.Index(
                fields=["scheme", "series", "key"],
                condition=models.Q(asserted__isnull=False),
                name="told_units_in_serial_order",
            ),
        )

    def __str__(self) -> str:
        return self.serial


class Power(models.TextChoices):
    """Where the pump's power came from."""

    MAINS = "mains"
    BATTERY = "battery"
    UNKNOWN = "", "not said"


class BenchSession(models.Model):
    """One sitting: who, with which gauge, where in the atmosphere, on which power, on which day.

    The database itself works out the band of `elevation` from what was said.
    """

    clinic = models.ForeignKey(Clinic, on_delete=models.PROTECT, related_name="bench_sessions")
    operator = models.ForeignKey(Operator, on_delete=models.PROTECT, related_name="bench_sessions")
    gauge = models.ForeignKey(Gauge, null=True, on_delete=models.PROTECT, related_name="bench_sessions")
    gauge_code = models.CharField(max_length=40, blank=True)
    held_on = models.DateField(null=True)
    power = models.CharField(max_length=10, choices=Power.choices, blank=True)
    elevation_m = models.FloatField(null=True)
    ambient_kpa = models.FloatField(null=True)
    elevation = models.GeneratedField(
        expression=band_in_database(), output_field=models.CharField(max_length=12), db_persist=True
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=[
                    "operator",
                    "gauge",
                    "gauge_code",
                    "held_on",
                    "power",
                    "elevation_m",
                    "ambient_kpa",
                ],
                name="one_session_a_sitting",
                nulls_distinct=False,
            ),
        )

    def __str__(self) -> str:
        return f"{self.clinic_id} on {self.held_on}"
