"""Why something did or did not raise an alert: a run, a unit as a person types it, or a gauge."""

from typing import Any

from registry.alerts.outcomes import outcomes
from registry.answers.serials.typed import Ambiguous, OpenEnd, read_typed
from registry.errors import Fault, Invalid, NotFound
from registry.models import Gauge, Operator, PumpModel, Run, RunState, Unit, UnitSummary
from registry.models.lookup import find_pump_model
from registry.models.serials import canonical, place, tidy


def explain_run(run_id: int, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a run's unit, gauge, clinic and build. Raises NotFound."""
    run = Run.objects.select_related("session", "unit__pump_model", "clinic").filter(pk=run_id).first()
    if run is None:
        raise NotFound(f"There is no run {run_id}")
    about = {"run": run.pk, "state": str(run.state)}
    notes = []
    if run.state == RunState.HELD:
        notes.append("The run is held: no rule looks at it until what holds it is settled.")
    if run.state == RunState.WITHDRAWN:
        notes.append("The run is withdrawn: no rule looks at it.")
    if run.session.gauge_id is None:
        notes.append("Its gauge is not declared: rules about gauges and units leave its figures out.")
    gauges = [] if run.session.gauge_id is None else [run.session.gauge_id]
    return outcomes(run.unit, gauges, [run.clinic_id], about, notes, reader)


def explain_unit(model: str, serial: str, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a unit, its serial as a person types it, and of all that read it.

    Raises UnknownPumpModel, NotFound for a unit nobody has measured, and Invalid where the serial may be two.
    """
    pump_model = find_pump_model(model)
    units = Unit.objects.select_related("pump_model").filter(pump_model=pump_model)
    unit = units.filter(serial=_plainly(pump_model, serial)).first()
    unit = unit or units.filter(serial=_boldly(pump_model, serial)).first()
    if unit is None:
        raise NotFound(f"No clinic has measured {pump_model.name} {serial[:60]}")
    read = UnitSummary.objects.filter(unit=unit).order_by()
    gauges = [gauge for gauge in read.values_list("gauge", flat=True).distinct() if gauge is not None]
    clinics = list(read.values_list("clinic", flat=True).distinct())
    notes = [] if clinics else ["None of its runs counts: they are held or withdrawn."]
    return outcomes(unit, gauges, clinics, {}, notes, reader)


def _plainly(pump_model: PumpModel, serial: str) -> str:
    typed = tidy(serial)
    try:
        return canonical(typed, place(typed, pump_model.serial_schemes.all()))
    except ValueError:  # no serial could be written so, hence no unit has it
        return ""


def _boldly(pump_model: PumpModel, serial: str) -> str:
    """The serial that is meant where O and 0, or I, L and 1, were taken for one another; "" for none."""
    try:
        reading = read_typed(serial, None, list(pump_model.serial_schemes.all()))
    except Ambiguous as unsure:
        raise Invalid(
            f"'{serial.strip()[:60]}' can be read as {unsure}",
            hint="Type the serial in full as the label has it.",
            faults=(Fault("can be read in more than one way", field="serial"),),
        ) from None
    except OpenEnd:
        return ""
    return reading.first.serial if reading and reading.first.serial == reading.last.serial else ""


def explain_gauge(clinic: str, code: str, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a clinic's gauge and of its clinic. Raises NotFound."""
    gauge = Gauge.objects.filter(clinic__code__iexact=clinic, code__iexact=code).first()
    if gauge is None:
        raise NotFound(f"There is no gauge {clinic[:40]}/{code[:40]}")
    return outcomes(None, [gauge.pk], [gauge.clinic_id], {}, [], reader)


def explain(
    *,
    run: int | None = None,
    model: str = "",
    serial: str = "",
    gauge: str = "",
    reader: Operator | None = None,
) -> dict[str, Any]:
    """Explain a run, a unit (`model` and `serial`) or a `gauge` (CLINIC/CODE), as `reader` may see it.

    Raises Invalid for anything else.
    """
    asked = [run is not None, bool(model or serial), bool(gauge)]
    if sum(asked) != 1 or bool(model) != bool(serial):
        raise Invalid(
            "Ask about one thing",
            hint="Give run, or model and serial, or gauge as CLINIC/CODE.",
            faults=(Fault("give run, or model and serial, or gauge", field="run"),),
        )
    if run is not None:
        return explain_run(run, reader)
    if gauge:
        clinic, _, code = gauge.rpartition("/")
        return explain_gauge(clinic, code, reader)
    return explain_unit(model, serial, reader)
