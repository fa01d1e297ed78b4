"""Receive one trace: check, store, measure and summarise in one transaction, and queue the alert check."""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.db import IntegrityError, transaction

from registry.alerts.tasks import check_run
from registry.intake.findings import Noted
from registry.intake.judge import judge
from registry.intake.measure import measure_trace
from registry.intake.provenance import Provenance, understand
from registry.intake.subject import Subject, identify_subject
from registry.intake.summaries import refresh_summaries
from registry.intake.units import covering_spans, lock_unit, resolve
from registry.models import (
    BenchSession,
    Finding,
    Measurement,
    Operator,
    Rig,
    Run,
    RunState,
    Trace,
    Unit,
)
from registry.waveform import Measured


@dataclass(frozen=True)
class Receipt:
    """The run a trace became, and whether this upload made it; if so, with what was stored for it."""

    run: Run
    is_new: bool
    edition: int = 0
    measurements: tuple[Measurement, ...] = ()
    findings: tuple[Finding, ...] = ()


def receive(data: bytes, said: Mapping[str, Any], operator: Operator) -> Receipt:
    """Take in one trace file with its provenance for the operator's clinic.

    The same bytes with the same provenance give the same run. A trace that can be read but not trusted is
    held. Raises a DomainError, and stores nothing, when the provenance or the file cannot be taken.
    """
    provenance = understand(said)
    digest = hashlib.sha256(data).hexdigest()
    identity = provenance.identity(operator.clinic.code, digest)
    known = Run.objects.filter(identity=identity).first()
    if known is not None:
        return Receipt(known, is_new=False)
    subject = identify_subject(provenance, operator)
    measured = measure_trace(data, provenance.zero_offset, subject.gauge_spec)
    trace = Trace(digest=digest, size=len(data))
    _keep_bytes(trace, data)
    try:
        with transaction.atomic():
            return _store(subject, trace, identity, measured)
    except IntegrityError:
        # The same upload came twice at once and the other was first. Anything else is a fault.
        known = Run.objects.filter(identity=identity).first()
        if known is None:
            raise
        return Receipt(known, is_new=False)


def _keep_bytes(trace: Trace, data: bytes) -> None:
    """Write the file before the transaction: bytes without a run do no harm, a run without bytes would."""
    storage = storages["traces"]
    if not storage.exists(trace.storage_name):
        storage.save(trace.storage_name, ContentFile(data))


def _store(subject: Subject, trace: Trace, identity: str, measured: Measured) -> Receipt:
    Trace.objects.bulk_create([trace], ignore_conflicts=True)
    rig, session = _rig(subject.provenance), _session(subject)
    unit = lock_unit(subject)
    spans = covering_spans(unit)
    notes = subject.notes + judge(unit, spans, subject.asserted, trace.digest, subject.provenance.side)
    findings: list[Noted] = [*measured.findings, *notes]
    run = _draft(subject, identity)
    run.trace, run.rig, run.session, run.unit = trace, rig, session, unit
    run.read = measured.understood.as_dict()
    run.state = RunState.HELD if any(f.severity == "hold" for f in findings) else RunState.ACCEPTED
    run.save(force_insert=True)
    stored = _store_measured(run, measured), _store_findings(run, measured.edition, findings)
    if run.state == RunState.ACCEPTED:
        _resolve_unit(unit, subject, spans)
        refresh_summaries(run)
        check_run.defer(run_id=run.pk)
    elif unit.revision_id is None:
        _resolve_unit(unit, None, spans)
    return Receipt(run, is_new=True, edition=measured.edition, measurements=stored[0], findings=stored[1])


def _draft(subject: Subject, identity: str) -> Run:
    said = subject.provenance
    return Run(
        identity=identity,
        pump_model=subject.pump_model,
        clinic=subject.operator.clinic,
        asserted=subject.asserted,
        firmware=said.firmware,
        mode=said.mode,
        programme=said.programme,
        level=said.level,
        side=said.side,
        charge_percent=said.power[1],
        recorded_at=said.recorded_at,
        zero_offset_mmhg=said.zero_offset,
        note=said.note,
        provenance=said.as_said(),
    )


def _rig(said: Provenance) -> Rig:
    rig, _ = Rig.objects.get_or_create(
        protector=said.protector,
        valve=said.valve,
        tubing=said.tubing,
        flange_mm=said.flange_mm,
        load_ml=said.load_ml,
    )
    return rig


def _session(subject: Subject) -> BenchSession:
    said = subject.provenance
    session, _ = BenchSession.objects.get_or_create(
        operator=subject.operator,
        gauge_code=subject.gauge.code if subject.gauge else said.gauge,
        held_on=said.recorded_at.date() if said.recorded_at else None,
        power=said.power[0],
        elevation_m=said.elevation_m,
        ambient_kpa=said.ambient_kpa,
        gauge=subject.gauge,
        defaults={"clinic": subject.operator.clinic},
    )
    return session


def _store_measured(run: Run, measured: Measured) -> tuple[Measurement, ...]:
    rows = tuple(
        Measurement(
            run=run,
            edition_id=measured.edition,
            metric=metric,
            value=q.value,
            unit=q.unit,
            u=q.u,
            u_random=q.u_random,
            u_systematic=q.u_systematic,
        )
        for metric, q in measured.metrics.items()
    )
    Measurement.objects.bulk_create(rows)
    return rows


def _store_findings(run: Run, edition: int, findings: Iterable[Noted]) -> tuple[Finding, ...]:
    rows = tuple(
        Finding(
            run=run,
            edition_id=edition,
            code=f.code,
            severity=f.severity,
            message=f.message,
            hint=f.hint,
            at_s=f.at_s,
        )
        for f in findings
    )
    Finding.objects.bulk_create(rows)
    return rows


def _resolve_unit(unit: Unit, subject: Subject | None, spans: list[Any]) -> None:
    """Write only what changed: most uploads are of a unit that is known already."""
    before = (unit.asserted_id, unit.revision_id, unit.revision_basis)
    if subject is not None and unit.asserted is None:
        unit.asserted = subject.asserted
    resolve(unit, spans)
    if before != (unit.asserted_id, unit.revision_id, unit.revision_basis):
        unit.save(update_fields=["asserted", "revision", "revision_basis"])
