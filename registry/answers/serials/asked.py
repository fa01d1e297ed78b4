"""Read the serials a person asks about, and say plainly what is wrong when they cannot be read."""

from collections.abc import Sequence
from dataclasses import dataclass

from registry.answers.serials.typed import Ambiguous, OpenEnd, Reading, has_small_letters, read_by, read_typed
from registry.errors import Fault, Invalid
from registry.models import PumpModel, SerialScheme
from registry.models.serials import Place


@dataclass(frozen=True)
class AskedRange:
    """Two serials of one series, in order."""

    first: Place
    last: Place


@dataclass(frozen=True)
class Asked:
    """What was asked: where it begins and ends, and how that was understood. Ends may be of two eras."""

    first: Place
    last: Place
    understood: dict[str, object]

    @property
    def is_one_series(self) -> bool:
        """Whether both ends are of one scheme and series."""
        return self.first.comparable(self.last)


def asked_range(
    pump_model: PumpModel, schemes: Sequence[SerialScheme], first: str, last: str | None
) -> Asked:
    """Return where both ends stand; with `last` None or blank, `first` may hold a serial or a whole range.

    Raises Invalid with a fault on the field: no scheme to read serials by, what no scheme reads, what can be
    read in two ways, ends of different series, `first` after `last`.
    """
    if not schemes:
        raise Invalid(
            f"No serial scheme is declared for {pump_model.name}, so its serials cannot be put in order",
            hint="A curator declares one under [[pump_model.serial_scheme]] in the catalogue.",
            faults=(Fault("has no serial scheme", field="model"),),
        )
    last = last if last and last.strip() else None
    try:
        reading = read_typed(first, last, schemes)
    except Ambiguous as unsure:
        raise _two_ways(first, last, unsure) from unsure
    except OpenEnd as open_end:
        raise _open_end(open_end.serial) from open_end
    if reading is None:
        raise _unread(pump_model, schemes, first, last)
    _check(reading)
    return Asked(reading.first, reading.last, _understood(first, last, reading, schemes))


def _check(reading: Reading) -> None:
    begin, end = reading.first, reading.last
    if begin.comparable(end):
        if begin.key > end.key:
            raise Invalid(
                f"{begin.serial} comes after {end.serial}",
                hint=f"Ask for {end.serial} to {begin.serial}.",
                faults=(Fault(f"comes after {end.serial}", field="first"),),
            )
        return
    eras = begin.scheme.era, end.scheme.era
    if None in eras or eras[0] == eras[1] or begin.series != end.series:
        raise Invalid(
            f"{begin.serial} and {end.serial} are of different series and cannot span a range",
            hint="Ask for one series at a time: the same plant, the same form of serial.",
            faults=(Fault(f"not in the series of {begin.serial}", field="last"),),
        )
    if (begin.scheme.era or 0) > (end.scheme.era or 0):
        raise Invalid(
            f"{begin.serial} is of a later form than {end.serial}",
            hint=f"Ask for {end.serial} to {begin.serial}.",
            faults=(Fault(f"comes after {end.serial}", field="first"),),
        )


def _understood(
    first: str, last: str | None, reading: Reading, schemes: Sequence[SerialScheme]
) -> dict[str, object]:
    """What was typed, what was taken, and each change in words."""
    typed = first if last is None else f"{first} to {last}"
    changes = [*dict.fromkeys(reading.changes)]
    if has_small_letters(first) or has_small_letters(last or ""):
        changes.insert(0, "read in capitals")
    several = len(schemes) > 1
    read = read_by(reading.first, schemes) if several else []
    return {
        "typed": typed.strip()[:130],
        "first": reading.first.serial,
        "last": reading.last.serial,
        "changes": changes,
        "scheme": reading.first.scheme.pattern,
        "why_this_scheme": _why(read),
    }


def _why(read: Sequence[SerialScheme]) -> str:
    if len(read) < 2:
        return ""
    return f"{len(read)} forms of serial read it; the one declared first was taken."


def _two_ways(first: str, last: str | None, unsure: Ambiguous) -> Invalid:
    typed = first.strip() if last is None else f"{first.strip()} to {last.strip()}"
    return Invalid(
        f"'{typed[:80]}' can be read as {unsure}",
        hint="Type the serial in full as the label has it; for a range, type both ends in full, apart.",
        faults=(Fault("can be read in more than one way", field="first" if last is None else "last"),),
        extra={"readings": [reading.words for reading in unsure.readings]},
    )


def _open_end(serial: str) -> Invalid:
    return Invalid(
        f"{serial} is a whole serial, and nothing says where a range from it ends",
        hint=f"Ask for {serial} alone, without dots after it, or give the last serial too.",
        faults=(Fault("has no end", field="first"),),
    )


def _unread(pump_model: PumpModel, schemes: Sequence[SerialScheme], first: str, last: str | None) -> Invalid:
    """Name the end at fault; with both, the first unless that reads by itself."""
    field, written = "first", first
    if last is not None and _reads(first, schemes):
        field, written = "last", last
    return Invalid(
        f"'{written.strip()[:60]}' is not read as a serial of {pump_model.name}",
        hint=_how_they_look(pump_model, schemes),
        faults=(Fault("no serial scheme of the model reads it", field=field),),
    )


def _reads(text: str, schemes: Sequence[SerialScheme]) -> bool:
    try:
        return read_typed(text, None, schemes) is not None
    except (Ambiguous, OpenEnd):
        return True


def _how_they_look(pump_model: PumpModel, schemes: Sequence[SerialScheme]) -> str:
    """An example says more than a pattern; the pattern stands in until a span gives one."""
    example = pump_model.serial_spans.order_by("id").values_list("first", flat=True).first()
    if example:
        return f"Serials of this model look like {example}; check for letters mistaken for digits."
    patterns = " or ".join(scheme.pattern for scheme in schemes)
    return f"Serials of this model have the form {patterns}; check for letters mistaken for digits."
