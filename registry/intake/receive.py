"""Receive one trace: check, store, measure and summarise in one transaction, and queue the alert check."""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import storages
from django.db import IntegrityError, transaction

from registry.alerts.tasks import want_checks
from registry.intake import benches
from registry.intake.declared import as_kept
from registry.intake.findings import Noted
from registry.intake.judge import judge
from registry.intake.locks import enter_upload
from registry.intake.measure import Ask, Taken, ask_beside, measure_trace, side_of
from registry.intake.provenance import understand
from registry.intake.rows import store_findings, store_taken
from registry.intake.subject import Subject, identify_subject
from registry.intake.summaries import refresh_summaries
from registry.intake.units import covering_spans, lock_unit, resolve
from registry.models import Operator, Run, RunState, SerialSpan, Trace, Unit
from registry.waveform import Measured


@dataclass(frozen=True)
class Receipt:
    """The run a trace became. `measured` and `findings` are there when this upload made it."""

    run: Run
    measured: Measured | None = None
    findings: tuple[Noted, ...] = ()


def receive(data: bytes, said: Mapping[str, Any], operator: Operator) -> Receipt:
    """Take in one trace file with its provenance for the operator's clinic.

    The same bytes with the same provenance give the same run. A trace that can be read but not trusted is
    held. Raises a DomainError, and stores nothing, when the provenance or the file cannot be taken.
    """
    provenance = understand(said)
    digest = hashlib.sha256(data).hexdigest()
    identity = provenance.identity(operator, digest)
    known = _known(identity)
    if known is not None:
        return Receipt(known)
    subject = identify_subject(provenance, operator)
    done = _measure(data, ask_beside(subject, data, digest))
    trace = Trace(digest=digest, size=len(data))
    _keep_bytes(trace, data)
    try:
        return _store(subject, trace, identity, done)
    except IntegrityError:
        # Either the same upload came twice at once and the other was first, or a rig or sitting that this
        # process remembers is gone from a restored database.
        benches.forget()
        known = _known(identity)
        return Receipt(known) if known is not None else _store(subject, trace, identity, done)


@dataclass(frozen=True)
class _Done:
    """A trace's bytes, how they were measured, and as what."""

    data: bytes
    ask: Ask
    taken: Taken

    def under(self, edition: int) -> "_Done":
        """The same measured under that edition; what is usual for the gauge stays what it was."""
        return (
            self if edition == self.ask.edition else _measure(self.data, replace(self.ask, edition=edition))
        )


def _measure(data: bytes, ask: Ask) -> _Done:
    return _Done(data, ask, measure_trace(data, ask))


def _known(identity: str) -> Run | None:
    return Run.objects.filter(identity=identity).only("pk").first()


def _keep_bytes(trace: Trace, data: bytes) -> None:
    """Write the file before the transaction: bytes without a run do no harm, a run without bytes would."""
    storage = storages["traces"]
    if not storage.exists(trace.storage_name):
        storage.save(trace.storage_name, ContentFile(data))


@transaction.atomic
def _store(subject: Subject, trace: Trace, identity: str, done: _Done) -> Receipt:
    version, is_first = enter_upload(subject.pump_model, trace)
    if version != subject.pump_model.catalogue_version:
        # The catalogue was loaded anew, or editions switched, while this trace was measured: go by the new.
        subject = identify_subject(subject.provenance, subject.operator)
        done = done.under(subject.edition)
    measured = done.taken.measured
    rig, session = benches.bring_rig(subject.provenance), benches.bring_session(subject)
    unit, is_new_unit = lock_unit(subject)
    # A known unit has the revision of its spans already; only a contradiction has to be looked for.
    spans = covering_spans(unit) if is_new_unit or subject.asserted else []
    digest = None if is_first else trace.digest
    side, column = side_of(subject.provenance, measured), measured.understood.vacuum_column
    notes = judge(unit, spans, subject.asserted, digest, side, column)
    findings: tuple[Noted, ...] = (*measured.findings, *subject.notes, *notes)
    run = _draft(subject, identity, done)
    run.trace, run.rig, run.session, run.unit = trace, rig, session, unit
    run.state = RunState.HELD if any(f.severity == "hold" for f in findings) else RunState.ACCEPTED
    run.save(force_insert=True)
    store_taken(measured.edition, [(run.pk, done.taken)])
    store_findings(measured.edition, [(run.pk, finding) for finding in findings])
    if is_new_unit or subject.asserted:
        _resolve_unit(unit, subject if run.state == RunState.ACCEPTED else None, spans)
    if run.state == RunState.ACCEPTED:
        refresh_summaries(run)
        want_checks([(run.pump_model_id, session.gauge_id)])
    return Receipt(run, measured, findings)


def _draft(subject: Subject, identity: str, done: _Done) -> Run:
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
        side=side_of(said, done.taken.measured),
        charge_percent=said.power[1],
        recorded_at=said.recorded_at,
        zero_offset_mmhg=said.zero_offset,
        note=said.note,
        provenance=said.as_said(),
        read=done.taken.measured.understood.as_dict(),
        usual=as_kept(done.ask.usual),
    )


def _resolve_unit(unit: Unit, subject: Subject | None, spans: list[SerialSpan]) -> None:
    """Resolve the unit; what an accepted run asserts counts, what a held one asserts does not."""
    before = (unit.asserted_id, unit.revision_id, unit.revision_basis)
    if subject is not None and unit.asserted is None:
        unit.asserted = subject.asserted
    resolve(unit, spans)
    if before != (unit.asserted_id, unit.revision_id, unit.revision_basis):
        unit.save(update_fields=["asserted", "revision", "revision_basis"])
