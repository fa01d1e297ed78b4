"""Why something did or did not raise an alert; what cannot be judged is never called fine."""

import pytest

from registry.alerts.explaining import explain
from registry.alerts.scan import scan_community
from registry.errors import Invalid, NotFound, UnknownPumpModel
from registry.models import Operator
from tests import factories
from tests.alerts.community import Community

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


def curator() -> Operator:
    found = factories.operator("lake", "curator")
    found.is_curator = True
    return found


def outcomes(document):
    return {(row["rule"], *row["subject"].values()): row["outcome"] for row in document["rules"]}


def test_a_unit_is_explained_by_all_that_bears_on_it(model) -> None:
    Community(model, gains={"west": 1.1}).measure()
    scan_community()
    document = explain(model=model.name, serial="lk003001", reader=curator())
    found = outcomes(document)
    assert found["gauge_off", "west/G1"] == "alert"
    assert found["unit_off", "Lapwing One/LK003001"] == "nothing stands out"
    assert found["clinic_off", "west"] == "not enough data"
    row = next(row for row in document["rules"] if row["rule"] == "gauge_off")
    assert row["alert"]
    assert "4 % matters" in row["why"][0]
    assert "1 with an alert" in document["says"]
    assert "Gauge west/G1" in row["says"]


def test_too_little_data_says_what_is_missing(model) -> None:
    Community(model, per_clinic=2).measure()
    scan_community()
    document = explain(gauge="west/G1")
    row = next(row for row in document["rules"] if row["rule"] == "gauge_off")
    assert row["outcome"] == "not enough data"
    assert row["lacks"] == "needs 1 more unit on the same builds"
    assert "nothing stands out" not in document["says"]


def test_a_unit_that_is_suspected_waits_for_runs(model) -> None:
    Community(model, units={"LK002001": 0.72}).measure()
    scan_community()
    found = outcomes(explain(model=model.name, serial="LK002001", reader=factories.operator()))
    assert found["unit_off", "Lapwing One/LK002001"].startswith("suspected")


def test_a_suspicion_is_not_told_to_who_has_no_token(model) -> None:
    Community(model, units={"LK002001": 0.72}).measure()
    scan_community()
    (row,) = [r for r in explain(model=model.name, serial="LK002001")["rules"] if r["rule"] == "unit_off"]
    assert (row["outcome"], row["p"], row["why"], row["evidence"]) == ("not decided yet", None, [], {})
    assert "off" not in row["says"] + row["lacks"]


def test_how_a_gauge_reads_is_for_its_own_clinic_and_curators_unless_an_alert_tells_it(model) -> None:
    Community(model, gains={"west": 1.1}).measure()
    scan_community()
    own = factories.operator("east")
    for reader, may in ((own, True), (curator(), True), (None, False)):
        row = figures(explain(gauge="east/G1", reader=reader), "gauge_off")
        assert row["outcome"] == "nothing stands out"
        assert bool(row["evidence"]) is bool(row["why"]) is may
    other = figures(explain(gauge="east/G1", reader=factories.operator()), "gauge_off")
    assert (other["evidence"], other["why"]) == ({}, [])
    assert "own clinic" in other["lacks"]
    assert figures(explain(gauge="west/G1"), "gauge_off")["why"], "what was raised is told to all"


def figures(document, rule):
    return next(row for row in document["rules"] if row["rule"] == rule)


@pytest.mark.parametrize("state", ["held", "withdrawn"])
def test_a_run_that_does_not_count_says_so(model, state) -> None:
    unit = factories.unit(model, "LK000001", "A")
    run = factories.run(unit)
    type(run).objects.filter(pk=run.pk).update(
        state=state, withdrawn_at="2026-01-01T00:00:00Z" if state == "withdrawn" else None, withdrawn_why="x"
    )
    document = explain(run=run.pk)
    assert document["state"] == state
    assert f"The run is {state}" in document["says"]
    assert set(outcomes(document).values()) == {"not looked at"}


def test_a_unit_of_no_known_build_says_so(model) -> None:
    factories.summary(factories.unit(model, "LK000009"), 200.0)
    document = explain(model=model.name, serial="LK000009")
    assert "Which build" in document["says"]


@pytest.mark.parametrize("typed", ["LK000019", "lk 000-019", "LKOOOO19", "lk 0000l9"])
def test_a_serial_is_taken_as_a_person_types_it(model, typed) -> None:
    factories.summary(factories.unit(model, "LK000019"), 200.0)
    assert explain(model=model.name, serial=typed)["unit"]["serial"] == "LK000019"


@pytest.mark.parametrize("typed", ["LK0000..", "LK000019-25", "LK000020"])
def test_what_is_no_unit_s_serial_is_not_found(model, typed) -> None:
    factories.summary(factories.unit(model, "LK000019"), 200.0)
    with pytest.raises(NotFound):
        explain(model=model.name, serial=typed)


def test_one_thing_is_asked_about_and_it_has_to_be_there(model) -> None:
    for wrong in ({}, {"model": "x"}, {"run": 1, "gauge": "a/b"}, {"serial": "x"}):
        with pytest.raises(Invalid):
            explain(**wrong)
    for nowhere in ({"run": 99}, {"gauge": "a/b"}, {"gauge": "G1"}, {"model": model.name, "serial": "..."}):
        with pytest.raises(NotFound):
            explain(**nowhere)
    with pytest.raises(UnknownPumpModel):
        explain(model="no such", serial="LK000001")
