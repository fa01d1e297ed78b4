"""The catalogue over HTTP: who may load it, how it is listed, how gauges are declared."""

from copy import deepcopy

import pytest
from django.db import OperationalError, connection
from knox.models import get_token_model

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


def test_every_answer_carries_versions_and_a_request_id(stranger, db):
    answer = stranger.get("/api/v1/health", headers={"X-Request-Id": "abcdefgh-1"})
    assert answer["X-Request-Id"] == "abcdefgh-1"
    assert answer["Vacuary-Version"] == answer.json()["version"]
    assert answer["Vacuary-Clients"] == answer.json()["clients"]
    nowhere = stranger.get("/api/v1/nowhere")
    assert (nowhere.status_code, nowhere.json()["code"]) == (404, "not_found")


def test_an_absent_database_is_told_as_unavailable(stranger, db, monkeypatch):

    def gone(*args):
        raise OperationalError("the connection was lost")

    monkeypatch.setattr(connection, "cursor", gone)
    answer = stranger.get("/api/v1/health")
    assert (answer.status_code, answer.json()["code"], answer["Retry-After"]) == (503, "unavailable", "2")
