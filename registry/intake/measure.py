"""Measure a trace's bytes as its provenance and gauge ask for, without storing anything."""

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from django.core.files.storage import storages

from registry.answers.stamp import current_edition
from registry.errors import Fault, TooLarge, UnreadableTrace
from registry.intake.findings import Note
from registry.intake.judge import judge
from registry.intake.provenance import understand
from registry.intake.subject import Subject, calibration_at, find_gauge, identify_subject, spec_of
from registry.intake.units import covering_spans, draft_unit
from registry.models import Operator, Run, Trace, Unit
from registry.models.lookup import find_pump_model
from registry.waveform import Declared, Finding, GaugeSpec, Measured, ReadError, measure


def measure_trace(
    data: bytes, zero_offset_mmhg: float | None, gauge: GaugeSpec | None, edition: int
) -> Measured:
    """Return what `data` measures as. Raises UnreadableTrace naming the line at fault, or TooLarge."""
    try:
        declared = Declared(zero_offset_mmhg=zero_offset_mmhg)
        return measure(data, gauge=gauge, declared=declared, edition=edition)
    except ReadError as error:
        refusal = TooLarge if error.code == "too_large" else UnreadableTrace
        raise refusal(
            error.message,
            hint=error.hint,
            faults=(Fault(error.message, line=error.line, field=None if error.line else "trace"),),
            extra={"reason": error.code},
        ) from error


def preview(data: bytes, said: Mapping[str, Any], operator: Operator | None) -> Measured:
    """Return what a run would be measured as, with the findings it would get, as far as `said` tells.

    Provenance may be partial. The gauge and the unit are looked up for an operator who signed in.
    """
    provenance = understand(said, partial=True)
    if provenance.pump_model:
        find_pump_model(provenance.pump_model, "pump_model")
    if operator is None:
        return measure_trace(data, provenance.zero_offset, None, current_edition())
    if provenance.pump_model and provenance.serial:
        subject = identify_subject(provenance, operator)
        measured = measure_trace(data, provenance.zero_offset, subject.gauge_spec, subject.edition)
        notes = (*subject.notes, *_judge_unstored(subject, hashlib.sha256(data).hexdigest()))
        findings = (*measured.findings, *map(_as_finding, notes))
        return replace(measured, findings=findings, holds=any(f.severity == "hold" for f in findings))
    gauge = find_gauge(provenance.gauge, operator)
    calibration, _ = calibration_at(gauge, provenance.recorded_at)
    spec = spec_of(gauge, calibration) if gauge else None
    return measure_trace(data, provenance.zero_offset, spec, current_edition())


class DamagedTrace(FileNotFoundError):
    """The stored bytes are not those that were received: the original is missing."""


def stored_bytes(trace: Trace) -> bytes:
    """Return the original bytes of a stored trace. Raises FileNotFoundError, DamagedTrace among them."""
    with storages["traces"].open(trace.storage_name) as file:
        data = bytes(file.read())
    if hashlib.sha256(data).hexdigest() != trace.digest:
        raise DamagedTrace(f"the stored bytes of trace {trace.digest} are not what was received")
    return data


def measure_again(run: Run, edition: int | None = None) -> Measured:
    """Measure a stored run's original bytes afresh, under the current edition or the one given.

    Raises what `measure_trace` does, and FileNotFoundError where the bytes are gone.
    """
    gauge = run.session.gauge
    calibration, _ = calibration_at(gauge, run.recorded_at)
    spec = spec_of(gauge, calibration) if gauge else None
    number = current_edition() if edition is None else edition
    return measure_trace(stored_bytes(run.trace), run.zero_offset_mmhg, spec, number)


def _judge_unstored(subject: Subject, digest: str) -> tuple[Note, ...]:
    identity = subject.provenance.identity(subject.operator, digest)
    is_stored = Run.objects.filter(identity=identity).exists()
    known = Unit.objects.filter(pump_model=subject.pump_model, serial=subject.serial)
    unit = known.select_related("asserted", "revision").first() or draft_unit(subject)
    side = subject.provenance.side
    return judge(unit, covering_spans(unit), subject.asserted, None if is_stored else digest, side)


def _as_finding(note: Note) -> Finding:
    return Finding(note.code, note.severity, note.message, note.hint, note.at_s)
