"""Runs over HTTP: uploading, looking, withdrawing, and who may see what."""

import json

import pytest
from django.core.files.storage import storages
from django.core.files.uploadedfile import SimpleUploadedFile
from drf_spectacular.generators import SchemaGenerator

from registry.models import Trace
from tests.api.conftest import signed_in
from tests.declared import MODEL, provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db


def upload(client, data=None, url="/api/v1/runs", **changes):
    form = {
        "trace": SimpleUploadedFile("trace.csv", data if data is not None else trace_bytes()),
        "provenance": json.dumps(provenance(**changes)),
    }
    return client.post(url, form, format="multipart")


def test_an_upload_answers_with_the_run(operator):
    answer = upload(operator)
    assert answer.status_code == 201
    run = answer.json()
    assert run["state"] == "accepted"
    assert run["revision"] == "A"
    assert set(run["measurements"]["cycle_rate"]) >= {"value", "unit", "uncertainty"}
    assert run["read"]["samples"] == 1500
    again = upload(operator)
    assert again.status_code == 200
    assert again.json() == operator.get(f"/api/v1/runs/{run['id']}").json()
    assert again.json()["id"] == run["id"]


def test_uploading_needs_a_token(stranger, operator):
    answer = upload(stranger)
    assert answer.status_code == 401
    assert answer.json()["code"] == "not_signed_in"
    assert answer["Content-Type"] == "application/problem+json"


def test_measuring_needs_none_and_stores_nothing(stranger, operator):
    answer = upload(stranger, url="/api/v1/measure", revision=None)
    assert answer.status_code == 200
    shown = {"state", "edition", "measurements", "findings", "read", "channels", "usual"}
    assert set(answer.json()) == shown
    assert operator.get("/api/v1/runs").json()["results"] == []


def test_measuring_tells_what_an_upload_would_be_told(operator):
    told = upload(operator, url="/api/v1/measure", serial="LK005001", revision="A").json()
    stored = upload(operator, serial="LK005001", revision="A").json()
    assert told["state"] == stored["state"] == "held"
    for key in ("measurements", "findings", "read", "edition"):
        assert told[key] == stored[key]


def test_an_unreadable_line_is_named(operator):
    answer = upload(operator, b"time (s),vacuum (mmHg)\n0,1\n0.1,what\n" + b"0.2,3\n" * 50)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, "unreadable_trace")
    assert problem["errors"][0]["line"] == 3
    assert problem["hint"]


def test_an_unknown_model_names_the_nearest(operator):
    problem = upload(operator, pump_model="Larkspur Too").json()
    assert (problem["code"], problem["nearest"]) == ("unknown_pump_model", ["Larkspur Two"])


def test_unknown_keys_are_refused(operator):
    problem = upload(operator, patient="x").json()
    assert (problem["code"], problem["errors"][0]["field"]) == ("unknown_provenance_key", "patient")


def test_others_see_a_run_without_operator_note_and_trace(operator, neighbour, stranger):
    run = upload(operator, note="bench by the window").json()
    assert (run["operator"], run["note"]) == ("thyme", "bench by the window")
    for client in (neighbour, stranger):
        seen = client.get(f"/api/v1/runs/{run['id']}").json()
        assert "operator" not in seen
        assert "note" not in seen
        assert seen["measurements"] == run["measurements"]
        assert "thyme" not in json.dumps(client.get("/api/v1/runs").json())
    assert neighbour.get(f"/api/v1/runs/{run['id']}/trace").status_code == 403
    assert stranger.get(f"/api/v1/runs/{run['id']}/trace").status_code == 401
    mine = operator.get(f"/api/v1/runs/{run['id']}/trace")
    assert b"".join(mine.streaming_content) == trace_bytes()


def test_headings_of_the_file_are_for_the_clinic_and_curators(operator, neighbour, stranger, curator):
    data = trace_bytes().replace(b"vacuum (mmHg)", b"vacuum Mary Roe (mmHg)")
    run = upload(operator, data).json()
    address = f"/api/v1/runs/{run['id']}"
    assert "Mary Roe" in run["read"]["vacuum_column"]
    assert curator.get(address).json()["read"] == operator.get(address).json()["read"] == run["read"]
    for client in (neighbour, stranger):
        for seen in (client.get(address).json(), client.get("/api/v1/runs").json()["results"][0]):
            assert "Mary" not in json.dumps(seen)
            assert seen["read"]["samples"] == run["read"]["samples"]


def test_headings_of_the_file_are_in_no_finding_either(operator, neighbour, stranger):
    gauge = {"gauge_model": "logger", "range": "0..400 mmHg", "resolution": "0.1 mmHg", "accuracy": "1 % FS"}
    assert operator.put("/api/v1/gauges/G1", gauge, format="json").status_code == 200
    kept = {"unit": "mmHg", "vacuum_column": "vacuum Jane Doe"}
    assert operator.put("/api/v1/gauges/G1/reading", kept, format="json").status_code in (200, 201)
    run = upload(operator, trace_bytes().replace(b"vacuum (mmHg)", b"vacuum Mary Roe (mmHg)")).json()
    assert "unlike_usual" in {finding["code"] for finding in run["findings"]}
    for client in (neighbour, stranger):
        told = json.dumps(client.get(f"/api/v1/runs/{run['id']}").json())
        assert "Mary" not in told
        assert "Jane" not in told


def test_why_a_run_was_withdrawn_is_for_the_clinic_and_curators(operator, neighbour, stranger):
    elsewhere = signed_in("fernhill", "dill", curator=True)
    run = upload(operator, note="by the window").json()
    address = f"/api/v1/runs/{run['id']}"
    operator.post(f"{address}/withdraw", {"reason": "asked by Mary Roe"}, format="json")
    for client in (neighbour, stranger):
        seen = client.get(address).json()
        assert seen["state"] == "withdrawn"
        assert {"withdrawn_why", "note", "operator"}.isdisjoint(seen)
    seen = elsewhere.get(address).json()
    assert (seen["withdrawn_why"], seen["note"]) == ("asked by Mary Roe", "by the window")
    assert "operator" not in seen


@pytest.mark.parametrize("body", [{"reason": "x", "client": "y"}, ["x"], {"reason": ["x"]}, {}])
def test_withdrawing_takes_a_reason_and_nothing_else(operator, body):
    run = upload(operator).json()
    answer = operator.post(f"/api/v1/runs/{run['id']}/withdraw", body, format="json")
    assert answer.status_code == 422
    assert operator.get(f"/api/v1/runs/{run['id']}").json()["state"] == "accepted"


def test_a_trace_missing_from_the_storage_is_told(operator, caplog):
    run = upload(operator).json()
    storages["traces"].delete(Trace.objects.get().storage_name)
    answer = operator.get(f"/api/v1/runs/{run['id']}/trace")
    assert (answer.status_code, answer.json()["code"]) == (404, "not_found")
    assert "backup" in answer.json()["hint"]
    assert run["digest"] in caplog.text


def test_an_upload_signs_in_and_reads_its_form_with_one_query(operator, django_assert_num_queries):
    with django_assert_num_queries(1):
        assert upload(operator, patient="x").status_code == 422


def test_withdrawing(operator, neighbour, curator):
    run = upload(operator).json()
    address = f"/api/v1/runs/{run['id']}/withdraw"
    assert neighbour.post(address, {"reason": "not mine"}, format="json").status_code == 403
    assert operator.post(address, {"reason": " "}, format="json").status_code == 422
    gone = operator.post(address, {"reason": "rig leaked"}, format="json").json()
    assert (gone["state"], gone["withdrawn_why"]) == ("withdrawn", "rig leaked")
    assert curator.post(address, {"reason": "again"}, format="json").status_code == 409


def test_lists_are_paged_and_filtered(operator, neighbour, django_assert_max_num_queries):
    for seed in range(5):
        upload(operator, trace_bytes(seed=seed), level=1 + seed % 2)
    first = operator.get("/api/v1/runs?page_size=3").json()
    rest = operator.get(first["next"]).json()
    ids = [run["id"] for run in first["results"] + rest["results"]]
    assert ids == sorted(ids, reverse=True)
    assert len(set(ids)) == 5
    assert rest["next"] is None
    assert len(operator.get("/api/v1/runs?level=2&serial=lk-000123").json()["results"]) == 2
    assert len(operator.get("/api/v1/runs?mine=true").json()["results"]) == 5
    assert neighbour.get("/api/v1/runs?mine=true").json()["results"] == []
    assert len(neighbour.get("/api/v1/runs?mine=False").json()["results"]) == 5
    assert operator.get("/api/v1/runs?state=held").json()["results"] == []
    with django_assert_max_num_queries(7):
        operator.get("/api/v1/runs?page_size=500")


@pytest.mark.parametrize("query", ["colour=red", "page_size=3&levels=2"])
def test_a_mistyped_filter_is_refused(operator, query):
    problem = operator.get(f"/api/v1/runs?{query}").json()
    assert (problem["code"], problem["status"]) == ("invalid", 422)


@pytest.mark.parametrize(
    ("asked", "code", "says"),
    [
        ("model=Nobody", "unknown_pump_model", "No pump model is called 'Nobody'"),
        (f"model={MODEL}&revision=Z", "invalid", f"{MODEL} has no revision 'Z'"),
        ("revision=Z", "invalid", "there is no revision 'Z'"),
        ("clinic=nowhere", "invalid", "there is no clinic 'nowhere'"),
        ("gauge=G99", "invalid", "there is no gauge 'G99'"),
    ],
)
def test_a_list_of_what_nobody_knows_is_refused_and_not_empty(operator, stranger, asked, code, says):
    upload(operator)
    answer = stranger.get(f"/api/v1/runs?{asked}")
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, code)
    assert says in problem["detail"]
    assert problem["hint"]
    assert [fault["field"] for fault in problem["errors"]] == [asked.split("&")[-1].split("=")[0]]


def test_what_is_known_is_found_in_any_capitals_and_a_serial_nobody_uploaded_is_no_mistake(
    operator, neighbour, stranger, django_assert_max_num_queries
):
    run = upload(operator, gauge="Unlisted 7").json()["id"]
    known = f"model={MODEL.upper()}&revision=a&clinic=ELMSWORTH&gauge=unlisted 7&serial=lk-000123"
    with django_assert_max_num_queries(14):
        assert [one["id"] for one in stranger.get(f"/api/v1/runs?{known}").json()["results"]] == [run]
    assert stranger.get("/api/v1/runs?revision=A").json()["results"]
    for nothing in ("serial=LK009999", "clinic=brackwater", "revision=B"):
        answer = stranger.get(f"/api/v1/runs?{nothing}")
        assert (answer.status_code, answer.json()["results"]) == (200, [])


def test_readers_must_sign_in_where_the_installation_says_so(operator, stranger, settings):
    settings.VACUARY_READS_OPEN = False
    assert stranger.get("/api/v1/runs").status_code == 401
    assert operator.get("/api/v1/runs").status_code == 200
    assert stranger.get("/api/v1/health").status_code == 200


def test_the_schema_has_no_field_for_a_client():
    schema = json.dumps(SchemaGenerator().get_schema(request=None, public=True)).lower()
    assert not any(f'"{word}"' in schema for word in ("patient", "client", "parent", "child", "birth"))
