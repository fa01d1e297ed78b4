"""Runs and measurements as documents."""

from collections.abc import Iterable, Mapping
from typing import Any

from registry.intake.findings import Noted
from registry.intake.receive import Receipt
from registry.models import Finding, Operator, Run
from registry.waveform import Measured


def measured_document(measured: Measured) -> dict[str, Any]:
    """Return what `measure` answers for a trace that is not stored."""
    return {
        "state": "held" if measured.holds else "accepted",
        "edition": measured.edition,
        "measurements": _metrics(measured),
        "findings": [_finding(finding) for finding in measured.findings],
        "read": measured.understood.as_dict(),
    }


def cycles_document(measured: Measured) -> dict[str, Any]:
    """Return the values of each cycle in order of time."""
    return {"edition": measured.edition, "cycles": measured.cycles.as_rows()}


def receipt_document(receipt: Receipt, measured: Measured, viewer: Operator) -> dict[str, Any]:
    """Return a run that was stored just now, as a later look at it will show it."""
    return _document(receipt.run, measured.edition, _metrics(measured), receipt.findings, viewer)


def run_document(run: Run, edition: int, viewer: Operator | None) -> dict[str, Any]:
    """Return a stored run, fetched with its measurements and findings, as `viewer` may see it."""
    measurements = {
        m.metric: _quantity(m.value, m.unit, m.u, m.u_random, m.u_systematic) for m in run.measurements.all()
    }
    return _document(run, edition, measurements, run.findings.all(), viewer)


def _document(
    run: Run,
    edition: int,
    measurements: Mapping[str, Any],
    findings: Iterable[Noted | Finding],
    viewer: Operator | None,
) -> dict[str, Any]:
    """People's own words are for the run's clinic and curators; the operator's pseudonym for the clinic."""
    is_own = viewer is not None and viewer.clinic_id == run.clinic_id
    sees_words = is_own or (viewer is not None and viewer.is_curator)
    document = {
        "id": run.pk,
        "state": run.state,
        "digest": run.trace_id,
        "edition": edition,
        **_where_from(run),
        "measurements": measurements,
        "findings": [_finding(finding) for finding in findings],
        "read": run.read if sees_words else _without_headings(run.read),
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


def _metrics(measured: Measured) -> dict[str, Any]:
    return {
        metric: _quantity(q.value, q.unit, q.u, q.u_random, q.u_systematic)
        for metric, q in measured.metrics.items()
    }


def _quantity(value: float, unit: str, u: float, u_random: float, u_systematic: float) -> dict[str, Any]:
    return {
        "value": value,
        "unit": unit,
        "uncertainty": u,
        "u_random": u_random,
        "u_systematic": u_systematic,
    }


def _finding(finding: Noted | Finding) -> dict[str, Any]:
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "hint": finding.hint,
        "at_s": finding.at_s,
    }
