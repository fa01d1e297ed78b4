"""Make stored records for tests, each with one plain call; what is not given gets a fitting default."""

import hashlib
import itertools
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.intake.summaries import refresh_summaries
from registry.models import (
    BenchSession,
    Clinic,
    Edition,
    Gauge,
    Maker,
    Operator,
    PumpModel,
    Revision,
    RevisionBasis,
    Rig,
    Run,
    RunState,
    SerialScheme,
    SerialSpan,
    SpanBasis,
    Trace,
    Unit,
    UnitSummary,
)
from registry.models.serials import place

NOW = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)
_serial = itertools.count(1)


def edition() -> Edition:
    """The current edition, as a migration makes it and a flushed table lacks it."""
    return Edition.objects.get_or_create(number=1, defaults={"is_current": True})[0]


def pump_model(
    name: str = "Lapwing One",
    *,
    revisions: Sequence[str] = ("A", "B"),
    pattern: str | None = r"(?P<plant>[A-Z]{2})(?P<number>\d{6})",
    order: Sequence[str] = ("number",),
) -> PumpModel:
    """A pump model with revisions in order and, unless `pattern` is None, one serial scheme."""
    maker, _ = Maker.objects.get_or_create(name="Tarn Works")
    model = PumpModel.objects.create(maker=maker, name=name)
    for number, label in enumerate(revisions, start=1):
        Revision.objects.create(pump_model=model, label=label, order=number)
    if pattern is not None:
        SerialScheme.objects.create(pump_model=model, pattern=pattern, order=list(order))
    return model


def revision(model: PumpModel, label: str | None) -> Revision | None:
    """The model's revision of that label, None for None."""
    return None if label is None else model.revisions.get(label=label)


def span(
    model: PumpModel, label: str, first: str, last: str, *, basis: str = "declared", source: str = "letter"
) -> SerialSpan:
    """A stored span between two serials."""
    begin, end = (place(serial, model.serial_schemes.all()) for serial in (first, last))
    assert begin is not None
    assert end is not None
    return SerialSpan.objects.create(
        pump_model=model,
        revision=model.revisions.get(label=label),
        scheme=begin.scheme,
        series=begin.series,
        first=begin.serial,
        last=end.serial,
        keys=NumericRange(begin.key, end.key, "[]"),
        basis=SpanBasis(basis),
        source=source,
    )


def clinic(code: str = "north") -> Clinic:
    """The clinic of that code."""
    return Clinic.objects.get_or_create(code=code)[0]


def operator(code: str = "north", pseudonym: str = "op") -> Operator:
    """An operator of that clinic."""
    handle = f"{code}/{pseudonym}"
    return Operator.objects.get_or_create(
        clinic=clinic(code), pseudonym=pseudonym, defaults={"handle": handle}
    )[0]


def gauge(code: str = "north", name: str = "G1") -> Gauge:
    """A gauge of that clinic: 0 to 400 mmHg, half a per cent."""
    figures = {
        "gauge_model": "bench logger",
        "range_low_mmhg": 0.0,
        "range_high_mmhg": 400.0,
        "resolution_mmhg": 0.1,
        "accuracy_mmhg": 0.5,
        "accuracy_fraction": 0.005,
    }
    return Gauge.objects.get_or_create(clinic=clinic(code), code=name, defaults=figures)[0]


def rig(protector: str = "cup", flange_mm: float = 24.0) -> Rig:
    """A rig of the usual parts."""
    return Rig.objects.get_or_create(
        protector=protector, valve="duckbill", tubing="soft", flange_mm=flange_mm, load_ml=0.0
    )[0]


def unit(model: PumpModel, serial: str, label: str | None = None, *, basis: str = "observed") -> Unit:
    """The model's unit of that serial, of revision `label` when one is given."""
    found = place(serial, model.serial_schemes.all())
    known = Unit.objects.filter(pump_model=model, serial=found.serial if found else serial).first()
    if known:
        return known
    return Unit.objects.create(
        pump_model=model,
        serial=found.serial if found else serial,
        scheme=found.scheme if found else None,
        series=found.series if found else "",
        key=found.key if found else None,
        asserted=revision(model, label),
        revision=revision(model, label),
        revision_basis=RevisionBasis(basis) if label else RevisionBasis.UNKNOWN,
    )


def run(
    of: Unit,
    code: str = "north",
    asserted: str | None = None,
    *,
    state: str = "accepted",
    mode: str = "expression",
    level: str = "3",
    gauge_code: str = "G1",
    elevation_m: float | None = None,
) -> Run:
    """A run of a unit by a clinic, without measurements."""
    digest = hashlib.sha256(str(next(_serial)).encode()).hexdigest()
    who = operator(code)
    session, _ = BenchSession.objects.get_or_create(
        clinic=who.clinic,
        operator=who,
        gauge=gauge(code, gauge_code),
        gauge_code=gauge_code,
        elevation_m=elevation_m,
    )
    return Run.objects.create(
        identity=digest,
        state=RunState(state),
        pump_model=of.pump_model,
        unit=of,
        clinic=who.clinic,
        session=session,
        rig=rig(),
        trace=Trace.objects.create(digest=digest, size=1),
        asserted=revision(of.pump_model, asserted),
        mode=mode,
        level=level,
        provenance={},
        read={},
    )


def losses(of: Run, value: float = 0.0) -> None:
    """What a run lost per 100 cycles, with the summary of its cell as an upload makes it."""
    of.measurements.create(
        edition=edition(), metric="loss_rate", value=value, unit="per 100 cycles",
        u=0.5, u_random=0.5, u_systematic=0.0,
    )  # fmt: skip
    refresh_summaries(of)


def summary(of: Unit, value: float, code: str = "north", **changes: Any) -> UnitSummary:
    """A stored summary of a unit at one setting; see `unsaved_summary`."""
    made = unsaved_summary(of, value, code, **changes)
    made.save()
    return made


def unsaved_summary(of: Unit, value: float, code: str = "north", **changes: Any) -> UnitSummary:
    """A unit's summary at one setting: three runs about `value`, half a unit apart. `changes` are fields."""
    gauge_code = changes.pop("gauge_code", "G1")
    fields: Mapping[str, Any] = {
        "pump_model": of.pump_model,
        "unit": of,
        "clinic": clinic(code),
        "gauge": gauge(code, gauge_code) if gauge_code else None,
        "rig": changes.pop("rig", None) or rig(),
        "power": "mains",
        "elevation": "",
        "mode": "expression",
        "programme": "",
        "level": "3",
        "side": "single",
        "edition": edition(),
        "metric": "peak_vacuum",
        "metric_unit": "mmHg",
        "count": 3,
        "mean": value,
        "sum_squares": 0.5,
        "u_random": 0.4,
        "u_systematic": 1.0,
        "refreshed_at": NOW,
        **changes,
    }
    return UnitSummary(**fields)
