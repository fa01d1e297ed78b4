"""The catalogue over HTTP: who may load it, how it is listed, how gauges are declared."""

import json
from copy import deepcopy

import pytest
from knox.models import get_token_model

from registry.models import PumpModel
from tests.declared import CATALOGUE, GAUGE, MODEL

pytestmark = pytest.mark.django_db


def test_only_a_curator_loads_the_catalogue(operator, curator, stranger):
    assert operator.post("/api/v1/catalogue", CATALOGUE, format="json").status_code == 403
    assert stranger.post("/api/v1/catalogue", CATALOGUE, format="json").status_code == 401
    report = curator.post("/api/v1/catalogue", CATALOGUE, format="json").json()
    assert report["created"] == report["changed"] == 0
    assert report["unchanged"] == len(report["changes"]) == 8


def test_a_fault_is_named_by_its_path(curator):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["revision"][1] |= {"order": "second", "colour": "red"}
    problem = curator.post("/api/v1/catalogue", declared, format="json").json()
    assert problem["errors"][0]["field"] == "pump_model[0].revision[1].colour"


@pytest.mark.parametrize(
    ("metric", "unit", "usable"),
    [
        ("cycle_rate", "Hz", "in: cycles/min"),
        ("peak_vacuum", "furlong", "in: mmHg, cmHg, inHg, Torr, Pa, hPa, kPa"),
        ("duty_factor", "kPa", "in: 1"),
    ],
)
@pytest.mark.parametrize("address", ["catalogue", "proposals/from-catalogue"])
def test_a_claim_in_a_unit_of_something_else_is_refused_with_what_can_be_used(
    curator, address, metric, unit, usable
):
    declared = deepcopy(CATALOGUE) | ({"why": "leaflet"} if address != "catalogue" else {})
    (claim,) = declared["pump_model"][0]["claim"]
    declared["pump_model"][0]["claim"] = [claim, claim | {"metric": metric, "unit": unit}]
    answer = curator.post(f"/api/v1/{address}", declared, format="json")
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
    (fault,) = answer.json()["errors"]
    assert fault["field"] == "pump_model[0].claim[1].unit"
    assert f"'{unit}' is no unit of {metric}" in fault["message"]
    assert usable in fault["message"]


@pytest.mark.parametrize("unit", ["kPa", " MMHG", "inches of mercury"])
def test_a_claimed_vacuum_is_taken_in_any_unit_of_pressure(curator, unit):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["claim"][0]["unit"] = unit
    assert curator.post("/api/v1/catalogue", declared, format="json").status_code == 200
    assert PumpModel.objects.get(name=MODEL).claims.get().unit == unit.strip()


@pytest.mark.parametrize("said", [{}, {"unit": "Hz"}])
def test_a_claim_of_sameness_needs_no_unit(curator, said):
    declared = deepcopy(CATALOGUE)
    sameness = {"metric": "cycle_rate", "relation": "same as before", "source": "leaflet"}
    declared["pump_model"][0]["claim"] = [sameness | said]
    assert curator.post("/api/v1/catalogue", declared, format="json").status_code == 200
    assert PumpModel.objects.get(name=MODEL).claims.get().unit == "cycles/min"


def test_overlap_is_a_conflict(curator):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["revision"][1]["span"][0]["first"] = "LK004000"
    answer = curator.post("/api/v1/catalogue", declared, format="json")
    assert (answer.status_code, answer.json()["code"]) == (409, "spans_overlap")


def test_a_model_shows_all_that_is_declared_of_it(operator, stranger):
    (model,) = stranger.get("/api/v1/pump-models", {"name": MODEL.upper()}).json()["results"]
    assert [r["label"] for r in model["revisions"]] == ["A", "B"]
    assert model["revisions"][0]["spans"][0]["source"] == "letter"
    assert model["claims"][0]["relation"] == "at least"
    assert stranger.get(f"/api/v1/pump-models/{model['id']}").json() == model


@pytest.mark.parametrize(
    "shelf",
    ["makers", "pump-models", "revisions", "serial-spans", "units", "clinics", "gauges", "rigs", "alerts"],
)
def test_every_list_is_paged(operator, stranger, shelf):
    answer = stranger.get(f"/api/v1/{shelf}", {"page_size": 1})
    assert answer.status_code == 200
    assert set(answer.json()) == {"results", "next"}
    assert len(answer.json()["results"]) <= 1
    assert stranger.get(f"/api/v1/{shelf}", {"nonsense": 1}).status_code == 422


@pytest.mark.parametrize(
    ("asked", "code"),
    [
        ("units?model=Nobody", "unknown_pump_model"),
        ("revisions?model=Nobody", "unknown_pump_model"),
        ("serial-spans?model=Nobody", "unknown_pump_model"),
        ("units?revision=Z", "invalid"),
        ("gauges?clinic=nowhere", "invalid"),
    ],
)
def test_a_list_of_what_nobody_knows_is_refused_and_not_empty(stranger, asked, code):
    answer = stranger.get(f"/api/v1/{asked}")
    assert (answer.status_code, answer.json()["code"]) == (422, code)
    assert answer.json()["errors"][0]["field"] == asked.split("?")[1].split("=")[0]


@pytest.mark.parametrize("code", ["G7", "7", "lab.2-b"])
def test_declaring_a_gauge(operator, neighbour, code):
    assert operator.put(f"/api/v1/gauges/{code}", GAUGE, format="json").status_code == 201
    again = operator.put(f"/api/v1/gauges/{code}", GAUGE, format="json")
    assert again.status_code == 200
    assert neighbour.put(f"/api/v1/gauges/{code}", GAUGE, format="json").status_code == 201
    gauge = operator.get(f"/api/v1/gauges/{again.json()['id']}").json()
    assert (gauge["clinic"], gauge["code"], gauge["accuracy_mmhg"]) == ("elmsworth", code, 2.0)


def test_a_gauge_is_declared_in_full_or_not_at_all(operator):
    answer = operator.put("/api/v1/gauges/G7", {"gauge_model": "x", "range": "wide"}, format="json")
    assert {e["field"] for e in answer.json()["errors"]} == {"range", "resolution", "accuracy"}


def test_an_expired_or_revoked_token_is_refused(operator):

    get_token_model().objects.update(expiry="2020-01-01T00:00Z")
    answer = operator.get("/api/v1/runs")
    assert (answer.status_code, answer.json()["code"]) == (401, "not_signed_in")


@pytest.mark.parametrize("name", ["a\0", "\ud800", " ", "line\nbreak", "x" * 41])
def test_a_mark_must_have_a_name(curator, name):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["revision"][0]["marks"] = {name: "amber"}
    answer = curator.post("/api/v1/catalogue", json.dumps(declared), content_type="application/json")
    assert answer.status_code in (400, 422)
    assert not PumpModel.objects.exists()


@pytest.mark.parametrize(
    "path",
    [
        ("maker",),
        ("name",),
        ("revision", 0, "label"),
        ("revision", 0, "firmware", 0),
        ("revision", 0, "marks", "housing"),
        ("revision", 0, "span", 0, "first"),
        ("revision", 0, "span", 0, "source"),
        ("serial_scheme", 0, "pattern"),
        ("serial_scheme", 0, "order", 0),
        ("claim", 0, "unit"),
        ("claim", 0, "source"),
    ],
)
@pytest.mark.parametrize("text", ["a\0b", "a\ud800b"])
def test_text_that_no_database_stores_is_refused_by_its_path(curator, path, text):
    declared = deepcopy(CATALOGUE)
    entry = declared["pump_model"][0]
    for step in path[:-1]:
        entry = entry[step]
    entry[path[-1]] = text
    answer = curator.post("/api/v1/catalogue", json.dumps(declared), content_type="application/json")
    assert answer.status_code == 422
    assert str(path[-1]) in answer.json()["errors"][0]["field"]
    assert not PumpModel.objects.exists()


def test_a_gauge_has_one_code_in_any_capitals(operator):
    first = operator.put("/api/v1/gauges/Lab-2", GAUGE, format="json")
    again = operator.put("/api/v1/gauges/LAB-2", GAUGE | {"accuracy": "1 % FS"}, format="json")
    assert (first.status_code, again.status_code) == (201, 200)
    assert (again.json()["id"], again.json()["code"]) == (first.json()["id"], "Lab-2")
    assert again.json()["accuracy_mmhg"] == 4.0


def test_the_source_of_a_calibration_is_for_the_own_clinic_and_curators(
    operator, neighbour, stranger, curator
):
    row = {"on": "2026-01-05", "uncertainty": 0.3, "source": "comparison at the workshop"}
    declared = operator.put("/api/v1/gauges/G7", {**GAUGE, "calibrations": [row]}, format="json")
    assert declared.json()["calibrations"][0]["source"] == row["source"]
    address = f"/api/v1/gauges/{declared.json()['id']}"
    assert "source" in curator.get(address).json()["calibrations"][0]
    for other in (neighbour, stranger):
        assert "source" not in other.get(address).json()["calibrations"][0]
