"""Runs and measurements as documents."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any

from api.shown import shown
from registry.intake.declared import said_of
from registry.intake.findings import Noted
from registry.intake.measure import Preview
from registry.intake.receive import Receipt
from registry.intake.remeasuring.stored import UnderEdition
from registry.models import Finding, Measurement, Operator, Run
from registry.waveform import Measured, Quantity

Valued = Quantity | Measurement


def preview_document(found: Preview) -> dict[str, Any]:
    """Return what `measure` answers for a trace that is not stored."""
    document = measured_document(found.measured) | {
        "channels": [asdict(channel) for channel in found.channels],
        "usual": said_of(found.measured.understood.as_usual()),
    }
    if found.sides is not None:
        document["sides"] = {
            "left": measured_document(found.sides.left),
            "right": measured_document(found.sides.right),
        }
        document["imbalance"] = quantities(found.sides.imbalance)
    return document


def measured_document(measured: Measured) -> dict[str, Any]:
    """Return what a trace measures as."""
    return {
        "state": "held" if measured.holds else "accepted",
        "edition": measured.edition,
        "measurements": quantities(measured.metrics),
        "findings": [_finding(finding) for finding in measured.findings],
        "read": measured.understood.as_dict(),
    }


def receipt_document(receipt: Receipt, measured: Measured, viewer: Operator) -> dict[str, Any]:
    """Return a run that was stored just now, as a later look at it will show it."""
    run = receipt.run
    return _document(run, _Contents(measured.edition, quantities(measured.metrics), receipt.findings), viewer)


def run_document(run: Run, edition: int, viewer: Operator | None) -> dict[str, Any]:
    """Return a stored run, fetched with its measurements and findings, as `viewer` may see it."""
    metrics = quantities(by_metric(run.measurements.all()))
    return _document(run, _Contents(edition, metrics, run.findings.all()), viewer)


def run_document_under(under: UnderEdition, viewer: Operator | None) -> dict[str, Any]:
    """Return a stored run as one edition has it, as `viewer` may see it."""
    metrics = quantities(by_metric(under.measurements))
    contents = _Contents(under.edition, metrics, under.findings, under.state, under.read)
    return _document(under.run, contents, viewer)


def quantities(found: Mapping[str, Valued]) -> dict[str, Any]:
    """Return measured values by metric, each with its uncertainty and the parts that is made of."""
    return {metric: _quantity(q) for metric, q in found.items()}


def by_metric(measurements: Iterable[Measurement]) -> dict[str, Measurement]:
    """Return stored measurements by metric."""
    return {measurement.metric: measurement for measurement in measurements}


@dataclass(frozen=True)
class _Contents:
    """What an edition makes of a run; without `state` and `read` they are those of the run."""

    edition: int
    measurements: Mapping[str, Any]
    findings: Iterable[Noted | Finding]
    state: str | None = None
    read: Mapping[str, Any] | None = None


def _document(run: Run, contents: _Contents, viewer: Operator | None) -> dict[str, Any]:
    """People's own words are for the run's clinic and curators; the operator's pseudonym for the clinic."""
    is_own = viewer is not None and viewer.clinic_id == run.clinic_id
    sees_words = is_own or (viewer is not None and viewer.is_curator)
    read = run.read if contents.read is None else contents.read
    document = {
        "id": run.pk,
        "state": run.state if contents.state is None else contents.state,
        "digest": run.trace_id,
        "edition": contents.edition,
        **_where_from(run),
        "measurements": contents.measurements,
        "findings": [_finding(finding) for finding in contents.findings],
        "read": read if sees_words else _without_headings(read),
    }
    if sees_words:
        document |= {"note": run.note, "withdrawn_why": run.withdrawn_why}
    if is_own:
        document["operator"] = run.session.operator.pseudonym
    return document


def _without_headings(read: Mapping[str, Any]) -> dict[str, Any]:
    """A column's heading is text out of the file, which may name people."""
    return {key: value for key, value in read.items() if not key.endswith("_column")}


def _where_from(run: Run) -> Mapping[str, Any]:
    session, unit = run.session, run.unit
    return {
        "pump_model": run.pump_model.name,
        "serial": unit.serial,
        "revision": unit.revision.label if unit.revision else None,
        "revision_basis": unit.revision_basis,
        "asserted_revision": run.asserted.label if run.asserted else None,
        "clinic": run.clinic.code,
        "gauge": session.gauge_code,
        "rig": run.rig.label,
        "power": session.power,
        "mode": run.mode,
        "programme": run.programme,
        "level": run.level,
        "side": run.side,
        "firmware": run.firmware,
        "recorded_at": run.recorded_at,
        "received_at": run.created_at,
    }


def _quantity(q: Valued) -> dict[str, Any]:
    return {
        "value": q.value,
        "unit": q.unit,
        "uncertainty": q.u,
        "u_random": q.u_random,
        "u_systematic": q.u_systematic,
        "parts": dict(q.parts),
        "shown": shown(q.value, q.u),
    }


def _finding(finding: Noted | Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "hint": finding.hint,
        "at_s": finding.at_s,
    }
