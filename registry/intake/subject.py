"""What a run is of, before anything is stored: names in the provenance become records."""

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Exists, OuterRef, Subquery

from registry.answers.stamp import current_edition
from registry.errors import Fault, Invalid
from registry.intake.findings import Note, calibration_after_run
from registry.intake.provenance import Provenance
from registry.models import Edition, Gauge, GaugeCalibration, Operator, PumpModel, Revision, SerialScheme
from registry.models.lookup import find_pump_model, find_revision
from registry.models.serials import Place, canonical, place
from registry.waveform import GaugeSpec


@dataclass(frozen=True)
class Subject:
    """The records a run will point at. `gauge` is None when the clinic declared none of that code.

    `edition` was current when the pump model had the catalogue version it has here: a switch raises that of
    all models, so whoever finds the version unchanged has the current edition.
    """

    provenance: Provenance
    operator: Operator
    pump_model: PumpModel
    place: Place | None
    asserted: Revision | None
    gauge: Gauge | None
    calibration: GaugeCalibration | None
    edition: int
    notes: tuple[Note, ...] = ()

    @property
    def serial(self) -> str:
        """The serial in the one spelling under which its unit is stored."""
        return canonical(self.provenance.serial, self.place)

    @property
    def gauge_spec(self) -> GaugeSpec | None:
        """The gauge as the numerics know it, in mmHg."""
        return None if self.gauge is None else spec_of(self.gauge, self.calibration)


def identify_subject(provenance: Provenance, operator: Operator) -> Subject:
    """Find what `provenance` names among the catalogue and the operator's own clinic.

    Raises UnknownPumpModel, or Invalid naming a revision, operator or serial that cannot be.
    """
    pump_model, schemes, edition = _pump_model(provenance.pump_model)
    gauge = find_gauge(provenance.gauge, operator)
    calibration, notes = calibration_at(gauge, provenance.recorded_at)
    return Subject(
        provenance=provenance,
        operator=_operator(provenance, operator),
        pump_model=pump_model,
        place=place(provenance.serial, schemes),
        asserted=find_revision(pump_model, provenance.revision) if provenance.revision else None,
        gauge=gauge,
        calibration=calibration,
        edition=edition,
        notes=notes,
    )


def _pump_model(name: str) -> tuple[PumpModel, list[SerialScheme], int]:
    """The model with its schemes and the current edition, in one query for a model that has any.

    Never an edition older than the model's version: without schemes the edition is read after the model.
    """
    of_that_name = SerialScheme.objects.select_related("pump_model").filter(pump_model__name__iexact=name)
    current = Edition.objects.filter(is_current=True).values("number")
    schemes = list(of_that_name.annotate(current=Subquery(current)))
    if schemes:
        return schemes[0].pump_model, list(schemes), schemes[0].current
    # The schemes are read after the model: should they be newer than its version, the upload notices.
    model = find_pump_model(name, "pump_model")
    return model, list(model.serial_schemes.all()), current_edition()


def spec_of(gauge: Gauge, calibration: GaugeCalibration | None) -> GaugeSpec:
    """Return a declared gauge, corrected by a calibration when there is one, as the numerics know it."""
    return GaugeSpec(
        range_low_mmhg=gauge.range_low_mmhg,
        range_high_mmhg=gauge.range_high_mmhg,
        resolution_mmhg=gauge.resolution_mmhg,
        accuracy_mmhg=gauge.accuracy_mmhg,
        accuracy_fraction=gauge.accuracy_fraction,
        calibration_gain=calibration.gain if calibration else 1.0,
        calibration_offset_mmhg=calibration.offset_mmhg if calibration else 0.0,
        calibration_u_mmhg=calibration.uncertainty_mmhg if calibration else 0.0,
    )


def _operator(provenance: Provenance, operator: Operator) -> Operator:
    """A colleague's pseudonym may be named; a stranger's may not."""
    if provenance.operator in (None, operator.pseudonym):
        return operator
    colleague = Operator.objects.filter(clinic=operator.clinic_id, pseudonym=provenance.operator).first()
    if colleague is None:
        raise Invalid(
            f"operator: the clinic has no operator '{provenance.operator}'",
            hint="Leave it empty to use your own pseudonym, or have the operator enrolled.",
            faults=(Fault(f"no operator '{provenance.operator}' at this clinic", field="operator"),),
        )
    return colleague


def find_gauge(code: str, operator: Operator) -> Gauge | None:
    """Return the gauge of that code at the operator's clinic, with what is usual; None when undeclared."""
    if not code:
        return None
    calibrations = GaugeCalibration.objects.filter(gauge=OuterRef("pk"))
    gauges = Gauge.objects.select_related("reading").annotate(is_calibrated=Exists(calibrations))
    return gauges.filter(clinic=operator.clinic_id, code__iexact=code).first()


def calibration_at(
    gauge: Gauge | None, moment: datetime | None
) -> tuple[GaugeCalibration | None, tuple[Note, ...]]:
    """Return the last calibration on or before the day of a run; without a moment, the last one known."""
    if gauge is None or not getattr(gauge, "is_calibrated", True):
        return None, ()
    known = list(gauge.calibrations.all())
    day = moment.date() if moment else date.max
    before = [calibration for calibration in known if calibration.on <= day]
    if known and not before:
        return None, (calibration_after_run(known[0].on.isoformat()),)
    return (before[-1] if before else None), ()
