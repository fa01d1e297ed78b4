"""Measure a trace's bytes as its provenance and gauge ask for, without storing anything."""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from django.core.files.storage import storages

from registry.answers.stamp import current_edition
from registry.errors import DomainError, Fault, SideNeeded, TooLarge, UnreadableTrace
from registry.intake.declared import declared_in, declared_of, usual_at_upload, usual_of
from registry.intake.findings import Note
from registry.intake.judge import judge
from registry.intake.pairs import Said, said_of_other
from registry.intake.provenance import Provenance, understand
from registry.intake.subject import Subject, calibration_at, find_gauge, identify_subject, spec_of
from registry.intake.units import covering_spans, draft_unit
from registry.models import Operator, Run, Trace, Unit
from registry.models.lookup import find_pump_model
from registry.waveform import (
    Channel,
    Declared,
    Finding,
    GaugeSpec,
    Measured,
    Quantity,
    ReadError,
    Sides,
    channels_of,
    measure,
    measure_pair,
    measure_sides,
)

T = TypeVar("T")


@dataclass(frozen=True)
class Ask:
    """How a trace is to be measured: what was said of it, what is usual, its gauge, and the edition.

    `other` is what was said of its other side, where that is stored and columns are told apart only so.
    """

    declared: Declared
    usual: Declared
    gauge: GaugeSpec | None
    edition: int
    other: Said | None = None


@dataclass(frozen=True)
class Preview:
    """What a trace would be measured as. `sides` is there for a file of two sides of which none was asked
    for; `measured` is then the left one."""

    measured: Measured
    channels: tuple[Channel, ...]
    sides: Sides | None = None


@dataclass(frozen=True)
class Taken:
    """What one side of a trace measures as; `imbalance` is left less right where the file holds both."""

    measured: Measured
    imbalance: Mapping[str, Quantity] = field(default_factory=dict)


def ask_for(subject: Subject) -> Ask:
    """Return how a subject's trace is to be measured now."""
    return Ask(declared_in(subject.provenance), usual_of(subject.gauge), subject.gauge_spec, subject.edition)


def ask_beside(subject: Subject, data: bytes, digest: str) -> Ask:
    """Return how a subject's trace is to be measured now, with its other side as that was said."""
    ask = ask_for(subject)
    if not ask.declared.vacuum_column:
        return ask
    side = _channels(data, ask)[0].side
    unit = (subject.pump_model.pk, subject.serial)
    return replace(ask, other=said_of_other(digest, side, unit, subject.operator.clinic, subject.gauge))


def measure_trace(data: bytes, ask: Ask) -> Taken:
    """Return what `data` measures as, and how unlike the sides pull where it holds both.

    Raises UnreadableTrace naming the line at fault, SideNeeded, or TooLarge.
    """
    if ask.declared.side in ("left", "right") and _is_two_sided(_channels(data, ask)):
        sides = _both(data, ask)
        return Taken(sides.left if ask.declared.side == "left" else sides.right, sides.imbalance)
    one = _one(data, ask)
    return Taken(one) if ask.other is None else Taken(one, _imbalance(data, ask, one, ask.other))


def _imbalance(data: bytes, ask: Ask, measured: Measured, other: Said) -> Mapping[str, Quantity]:
    """Left less right; nothing where the other side cannot be read any more, or is the same column."""
    said = ((ask.declared, ask.usual), other)
    left, right = said if measured.understood.side == "left" else said[::-1]
    declared, usual = (left[0], right[0]), (left[1], right[1])
    try:
        sides = measure_pair(data, gauge=ask.gauge, declared=declared, usual=usual, edition=ask.edition)
    except ReadError:
        return {}
    return sides.imbalance


def side_of(said: Provenance, measured: Measured) -> str:
    """Return which side a run is of: as said, else as its column tells."""
    return said.side or measured.understood.side


def _one(data: bytes, ask: Ask) -> Measured:
    return _refusing(
        lambda: measure(data, gauge=ask.gauge, declared=ask.declared, usual=ask.usual, edition=ask.edition)
    )


def _both(data: bytes, ask: Ask) -> Sides:
    return _refusing(
        lambda: measure_sides(
            data, gauge=ask.gauge, declared=ask.declared, usual=ask.usual, edition=ask.edition
        )
    )


def _channels(data: bytes, ask: Ask) -> tuple[Channel, ...]:
    return _refusing(lambda: channels_of(data, ask.declared, ask.usual))


def _is_two_sided(channels: tuple[Channel, ...]) -> bool:
    return {channel.side for channel in channels} >= {"left", "right"}


def _refusing(what: Callable[[], T]) -> T:
    try:
        return what()
    except ReadError as error:
        refusals: dict[str, type[DomainError]] = {"too_large": TooLarge, "side_needed": SideNeeded}
        refusal = refusals.get(error.code, UnreadableTrace)
        place = None if error.line else "trace"
        if refusal is SideNeeded:
            place = "side"
        raise refusal(
            error.message,
            hint=error.hint,
            faults=(Fault(error.message, line=error.line, field=place),),
            extra={"reason": error.code},
        ) from error


def preview(data: bytes, said: Mapping[str, Any], operator: Operator | None) -> Preview:
    """Return what a run would be measured as, with the findings it would get, as far as `said` tells.

    Provenance may be partial. The gauge, what is usual for it, and the unit are looked up for an operator who
    signed in.
    """
    provenance = understand(said, partial=True)
    if provenance.pump_model:
        find_pump_model(provenance.pump_model, "pump_model")
    subject = None
    if operator is not None and provenance.pump_model and provenance.serial:
        subject = identify_subject(provenance, operator)
        ask = ask_for(subject)
    else:
        ask = _ask_without_subject(provenance, operator)
    found = _look(data, ask)
    return found if subject is None else _judged(found, subject, hashlib.sha256(data).hexdigest())


def _ask_without_subject(provenance: Provenance, operator: Operator | None) -> Ask:
    gauge = find_gauge(provenance.gauge, operator) if operator is not None else None
    calibration, _ = calibration_at(gauge, provenance.recorded_at)
    spec = spec_of(gauge, calibration) if gauge else None
    return Ask(declared_in(provenance), usual_of(gauge), spec, current_edition())


def _look(data: bytes, ask: Ask) -> Preview:
    """Measure one channel, or both sides of a file of which no side was asked for."""
    channels = _channels(data, ask)
    if ask.declared.side is not None or ask.declared.vacuum_column or not _is_two_sided(channels):
        return Preview(_one(data, ask), channels)
    sides = _both(data, ask)
    return Preview(sides.left, channels, sides)


def _judged(found: Preview, subject: Subject, digest: str) -> Preview:
    """Add what intake would find."""
    if found.sides is None:
        side = side_of(subject.provenance, found.measured)
        return replace(found, measured=_with_notes(found.measured, subject, digest, side))
    left = _with_notes(found.sides.left, subject, digest, "left")
    right = _with_notes(found.sides.right, subject, digest, "right")
    return replace(found, measured=left, sides=replace(found.sides, left=left, right=right))


def _with_notes(measured: Measured, subject: Subject, digest: str, side: str) -> Measured:
    notes = (*subject.notes, *_judge_unstored(subject, digest, side, measured.understood.vacuum_column))
    findings = (*measured.findings, *map(_as_finding, notes))
    return replace(measured, findings=findings, holds=any(f.severity == "hold" for f in findings))


class DamagedTrace(FileNotFoundError):
    """The stored bytes are not those that were received: the original is missing."""


def stored_bytes(trace: Trace) -> bytes:
    """Return the original bytes of a stored trace. Raises FileNotFoundError, DamagedTrace among them."""
    with storages["traces"].open(trace.storage_name) as file:
        data = bytes(file.read())
    if hashlib.sha256(data).hexdigest() != trace.digest:
        raise DamagedTrace(f"the stored bytes of trace {trace.digest} are not what was received")
    return data


def measure_again(run: Run, edition: int) -> Taken:
    """Measure a stored run's original bytes afresh under an edition, read as they were when they came.

    Raises what `measure_trace` does, and FileNotFoundError where the bytes are gone.
    """
    gauge = run.session.gauge
    calibration, _ = calibration_at(gauge, run.recorded_at)
    spec = spec_of(gauge, calibration) if gauge else None
    declared, other = declared_of(run), None
    if declared.vacuum_column:
        unit = (run.pump_model_id, run.unit.serial)
        other = said_of_other(run.trace_id, run.side, unit, run.clinic, gauge)
    ask = Ask(declared, usual_at_upload(run), spec, edition, other)
    return measure_trace(stored_bytes(run.trace), ask)


def _judge_unstored(subject: Subject, digest: str, side: str, column: str) -> tuple[Note, ...]:
    provenance = replace(subject.provenance, side=side)
    is_stored = Run.objects.filter(identity=provenance.identity(subject.operator, digest)).exists()
    known = Unit.objects.filter(pump_model=subject.pump_model, serial=subject.serial)
    unit = known.select_related("asserted", "revision").first() or draft_unit(subject)
    return judge(unit, covering_spans(unit), subject.asserted, None if is_stored else digest, side, column)


def _as_finding(note: Note) -> Finding:
    return Finding(note.code, note.severity, note.message, note.hint, note.at_s)
