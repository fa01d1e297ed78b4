"""Read the serials a person asks about, and say plainly what is wrong when they cannot be read."""

from collections.abc import Sequence
from dataclasses import dataclass

from registry.errors import Fault, Invalid
from registry.models import PumpModel, SerialScheme
from registry.models.serials import Place, place


@dataclass(frozen=True)
class AskedRange:
    """Two serials of one series, in order."""

    first: Place
    last: Place


def asked_range(
    pump_model: PumpModel, schemes: Sequence[SerialScheme], first: str, last: str | None
) -> AskedRange:
    """Return where both ends stand; `last` None or blank asks for `first` alone.

    Raises Invalid with a fault on the field: no scheme to read serials by, a serial no scheme reads, ends of
    different series, `first` after `last`.
    """
    if not schemes:
        raise Invalid(
            f"No serial scheme is declared for {pump_model.name}, so its serials cannot be put in order",
            hint="A curator declares one under [[pump_model.serial_scheme]] in the catalogue.",
            faults=(Fault("has no serial scheme", field="model"),),
        )
    begin = _read(pump_model, schemes, first, "first")
    end = _read(pump_model, schemes, last, "last") if last and last.strip() else begin
    if not begin.comparable(end):
        raise Invalid(
            f"{begin.serial} and {end.serial} are of different series and cannot span a range",
            hint="Ask for one series at a time: the same plant, the same form of serial.",
            faults=(Fault(f"not in the series of {begin.serial}", field="last"),),
        )
    if begin.key > end.key:
        raise Invalid(
            f"{begin.serial} comes after {end.serial}",
            hint=f"Ask for {end.serial} to {begin.serial}.",
            faults=(Fault(f"comes after {end.serial}", field="first"),),
        )
    return AskedRange(begin, end)


def _read(pump_model: PumpModel, schemes: Sequence[SerialScheme], serial: str, field: str) -> Place:
    found = place(serial, schemes)
    if found is not None:
        return found
    written = serial.strip()[:60]
    raise Invalid(
        f"'{written}' is not read as a serial of {pump_model.name}",
        hint=_how_they_look(pump_model, schemes),
        faults=(Fault("no serial scheme of the model reads it", field=field),),
    )


def _how_they_look(pump_model: PumpModel, schemes: Sequence[SerialScheme]) -> str:
    """An example says more than a pattern; the pattern stands in until a span gives one."""
    example = pump_model.serial_spans.order_by("id").values_list("first", flat=True).first()
    if example:
        return f"Serials of this model look like {example}; check for letters mistaken for digits."
    patterns = " or ".join(scheme.pattern for scheme in schemes)
    return f"Serials of this model have the form {patterns}; check for letters mistaken for digits."
