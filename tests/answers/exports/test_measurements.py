"""Measurements of a model: one row a run and metric, nothing private, nothing of two moments."""

from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.answers.exports import measurements
from registry.answers.exports.columns import Kind
from registry.answers.exports.measurements import Measurements
from registry.errors import Invalid, TooLarge, UnknownPumpModel
from registry.models import Edition, Run
from registry.waveform import editions
from tests import factories
from tests.answers.exports.stored import VALUES, held, measured_run
from tests.editions import both

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    factories.edition()
    return factories.pump_model()


def rows(**asked):
    """The rows as mappings."""
    table = Measurements()
    names = [column.name for column in table.columns]
    filled = table.fill(**{"model": "Lapwing One", **asked})
    return [dict(zip(names, row, strict=True)) for chunk in filled.chunks for row in chunk]


def runs_of(found):
    return sorted({row["run"] for row in found})


def test_one_row_a_run_and_metric_in_the_order_of_runs_and_metrics(model):
    unit = factories.unit(model, "LK000001", "A")
    first, second = measured_run(unit, asserted="B"), measured_run(unit, "south", level="4", plus=1)
    found = rows()
    assert [(row["run"], row["metric"]) for row in found] == [
        (run.pk, metric) for run in (first, second) for metric in sorted(VALUES)
    ]
    shown = found[1]
    assert shown | {"received_at": None} == {
        "run": first.pk,
        "edition": 1,
        "state": "accepted",
        "held_by": "",
        "pump_model": "Lapwing One",
        "serial": "LK000001",
        "revision": "A",
        "revision_basis": "observed",
        "asserted_revision": "B",
        "firmware": "",
        "clinic": "north",
        "gauge": "G1",
        "power": "",
        "elevation": "",
        "mode": "expression",
        "programme": "",
        "level": "3",
        "side": "single",
        "protector": "cup",
        "valve": "duckbill",
        "tubing": "soft",
        "flange_mm": 24.0,
        "load_ml": 0.0,
        "recorded_at": None,
        "received_at": None,
        "metric": "peak_drift",
        "unit": "mmHg/min",
        "value": -0.5,
        "uncertainty": 0.5,
        "u_random": 0.3,
        "u_systematic": 0.4,
        "u_accuracy": 0.4,
        "u_resolution": None,
        "u_calibration": None,
        "u_zero": None,
        "u_clock": None,
        "u_sampling": None,
        "u_scatter": 0.3,
    }
    assert shown["received_at"] == first.created_at


def test_nothing_that_people_wrote_and_no_operator_leaves(model):
    run = measured_run(factories.unit(model, "LK000001"))
    run.note, run.withdrawn_why, run.withdrawn_at = "a private word", "a private reason", timezone.now()
    run.state, run.provenance, run.read = (
        "withdrawn",
        {"note": "a private word"},
        {"vacuum_column": "private"},
    )
    run.save()
    said = str(rows(state="any"))
    assert "private" not in said
    assert "withdrawn" in said
    assert run.session.operator.pseudonym not in {str(v) for row in rows(state="any") for v in row.values()}


def test_only_accepted_runs_unless_others_are_asked_for(model):
    unit = factories.unit(model, "LK000001")
    good = measured_run(unit)
    kept = held(measured_run(unit), "too_short", "no_zero")
    assert runs_of(rows()) == [good.pk]
    assert runs_of(rows(state="held")) == [kept.pk]
    assert {row["held_by"] for row in rows(state="held")} == {"no_zero too_short"}
    assert runs_of(rows(state="any")) == [good.pk, kept.pk]
    assert {row["held_by"] for row in rows(state="any") if row["run"] == good.pk} == {""}


@pytest.mark.parametrize(
    "asked",
    [
        {"revision": "b"},
        {"serial": "lk 000002"},
        {"clinic": "South"},
        {"gauge": "g2"},
        {"mode": "stimulation"},
        {"level": "4.0"},
        {"programme": "Soft"},
        {"power": "battery"},
        {"rig": "28 mm"},
    ],
    ids=lambda asked: next(iter(asked)),
)
def test_every_filter_finds_its_runs_and_no_other(model, asked):
    measured_run(factories.unit(model, "LK000001", "A"))
    other = measured_run(
        factories.unit(model, "LK000002", "B"), "south", gauge_code="G2", mode="stimulation", level="4"
    )
    other.programme, other.rig = "soft", factories.rig(flange_mm=28.0)
    other.save()
    other.session.power = "battery"
    other.session.save()
    assert runs_of(rows(**asked)) == [other.pk]


def test_times_of_receipt_bound_what_is_given(model):
    unit = factories.unit(model, "LK000001")
    days = [datetime(2026, 1, day, tzinfo=UTC) for day in (1, 2, 3)]
    made = [measured_run(unit) for _ in days]
    for run, day in zip(made, days, strict=True):
        Run.objects.filter(pk=run.pk).update(created_at=day)
    assert runs_of(rows(since=days[1])) == [made[1].pk, made[2].pk]
    assert runs_of(rows(until=days[1])) == [made[0].pk]
    assert rows(since=days[2] + timedelta(days=1)) == []


def test_one_metric_alone_and_runs_without_any(model):
    unit = factories.unit(model, "LK000001")
    first, _, last = measured_run(unit), factories.run(unit), measured_run(unit)
    found = rows(metric="peak_vacuum")
    assert [(row["run"], row["metric"]) for row in found] == [
        (first.pk, "peak_vacuum"),
        (last.pk, "peak_vacuum"),
    ]
    assert runs_of(rows()) == [first.pk, last.pk]


def test_other_models_and_editions_stay_out(model, monkeypatch):
    other = factories.pump_model("Teal Two")
    measured_run(factories.unit(other, "LK000001"))
    assert rows() == []
    Edition.objects.create(number=2, is_current=False)
    monkeypatch.setattr(editions, "EDITIONS", both())
    assert rows(model="teal two", edition=2) == []
    assert len(rows(model="teal two", edition=1)) == 3


@pytest.mark.parametrize(
    ("asked", "error"),
    [
        ({"model": "Nobody"}, UnknownPumpModel),
        ({"revision": "Z"}, Invalid),
        ({"metric": "charm"}, Invalid),
        ({"edition": 9}, Invalid),
        ({"as_of": datetime(2999, 1, 1, tzinfo=UTC)}, Invalid),
    ],
)
def test_names_nobody_knows_are_refused(model, asked, error):
    with pytest.raises(error):
        rows(**asked)


def test_more_than_the_bound_is_refused_before_anything_is_read(model, monkeypatch):
    unit = factories.unit(model, "LK000001")
    for _ in range(3):
        measured_run(unit)
    monkeypatch.setattr(measurements, "MOST_ROWS", 2)
    with pytest.raises(TooLarge) as refused:
        Measurements().fill(model="Lapwing One", metric="peak_vacuum")
    assert "metric" in refused.value.hint
    assert refused.value.extra == {"most_rows": 2}
    monkeypatch.setattr(measurements, "MOST_ROWS", 3)
    assert len(rows(metric="peak_vacuum")) == 3


def test_the_number_of_queries_does_not_grow_and_chunks_join_without_a_seam(model, monkeypatch):
    monkeypatch.setattr(measurements, "ROWS_A_CHUNK", 4)
    monkeypatch.setattr(measurements, "RUNS_A_FETCH", 2)
    unit = factories.unit(model, "LK000001")
    asked = []
    for _ in range(2):
        for _ in range(5):
            measured_run(unit)
        with CaptureQueriesContext(
            connection,
        ) as caught:
            found = rows()
        assert len(found) == 3 * Run.objects.count()
        asked.append([query["sql"] for query in caught if not query["sql"].startswith("FETCH")])
    assert len(asked[0]) == len(asked[1])


def test_kinds_of_columns_are_those_of_their_values(model):
    measured_run(factories.unit(model, "LK000001", "A"))
    of_kind = {
        Kind.TEXT: str,
        Kind.INTEGER: int,
        Kind.NUMBER: float,
        Kind.TIME: datetime,
    }
    for row in rows():
        for column in Measurements().columns:
            value = row[column.name]
            assert value is None or type(value) is of_kind[column.kind], column.name
