"""What is usual for a gauge's files: kept, used, looked at and forgotten by its own clinic."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.intake.remeasuring.completing import complete
from registry.models import Measurement, Run, RunDetails
from registry.waveform.units import PASCALS
from tests.declared import provenance
from tests.traces import bare_bytes, trace_bytes

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/gauges/G1/reading"
KPA = PASCALS["kPa"] / PASCALS["mmHg"]
BARE = bare_bytes(unit_mmhg=KPA)


def post(client, url, data=BARE, **said):
    form = {"trace": SimpleUploadedFile("trace.csv", data), "provenance": json.dumps(said)}
    return client.post(f"/api/v1/{url}", form, format="multipart")


def upload(client, data=BARE, **changes):
    return post(client, "runs", data, **provenance(**changes))


def keep(client, **reading):
    return client.put(ADDRESS, reading, format="json")


def test_what_was_understood_once_serves_the_next_upload(operator):
    refused = upload(operator).json()
    assert (refused["code"], refused["reason"]) == ("unreadable_trace", "unit_unknown")
    said = {"unit": "kPa", "rate_hz": 50, "gauge": "G1"}
    looked = post(operator, "measure", **said).json()
    kept = keep(operator, **looked["usual"])
    assert kept.status_code == 201
    assert {key: kept.json()[key] for key in ("gauge", "unit", "rate_hz", "sign", "saved_by")} == {
        "gauge": "G1",
        "unit": "kPa",
        "rate_hz": 50.0,
        "sign": "negative",
        "saved_by": "thyme",
    }
    run = upload(operator).json()
    truth = upload(operator, trace_bytes(), level=4).json()
    assert run["read"]["unit_basis"] == "as usual for this gauge"
    for metric in ("peak_vacuum", "cycle_rate"):
        assert run["measurements"][metric]["value"] == pytest.approx(
            truth["measurements"][metric]["value"], rel=1e-3
        )
    assert post(operator, "measure", gauge="g1").json()["read"] == run["read"]


def test_it_helps_nobody_who_did_not_sign_in_or_names_no_gauge(operator, stranger, neighbour):
    keep(operator, unit="kPa", rate_hz=50)
    assert post(operator, "measure", gauge="G1").status_code == 200
    for client, said in ((stranger, {"gauge": "G1"}), (neighbour, {"gauge": "G1"}), (operator, {})):
        assert post(client, "measure", **said).json()["reason"] == "unit_unknown"


def test_a_stored_run_keeps_its_meaning_when_the_usual_changes(operator):
    keep(operator, unit="kPa", rate_hz=50)
    run = Run.objects.get(pk=upload(operator).json()["id"])
    assert run.usual == {"unit": "kPa", "rate_hz": 50.0}
    before = dict(run.measurements.values_list("metric", "value"))
    keep(operator, unit="mbar", rate_hz=100)
    RunDetails.objects.all().delete()
    Measurement.objects.update(parts={})
    assert complete(1) == 1
    assert RunDetails.objects.get().cycles["period_s"][3] == pytest.approx(1.0, abs=0.05)
    assert dict(run.measurements.values_list("metric", "value")) == before
    assert all(run.measurements.values_list("parts", flat=True))
    assert upload(operator).status_code == 200
    assert upload(operator, trace_bytes(), level=4).json()["state"] == "accepted"


def test_what_a_file_says_counts_more(operator):
    keep(operator, unit="kPa")
    run = upload(operator, trace_bytes()).json()
    assert run["read"]["vacuum_unit"] == "mmHg"
    assert "unlike_usual" in {finding["code"] for finding in run["findings"]}


def test_it_is_replaced_whole_and_forgotten(operator):
    assert operator.get(ADDRESS).status_code == 404
    assert keep(operator, unit="kpa", rate_hz=50, time_column="t").status_code == 201
    assert keep(operator, sign="Negative").status_code == 200
    kept = operator.get(ADDRESS).json()
    assert (kept["sign"], kept["unit"], kept["rate_hz"], kept["time_column"]) == (
        "negative",
        None,
        None,
        None,
    )
    for _ in range(2):
        assert operator.delete(ADDRESS).status_code == 204
    assert operator.get(ADDRESS).json()["code"] == "not_found"


@pytest.mark.parametrize(
    ("body", "field"),
    [
        ({"unit": "furlong"}, "unit"),
        ({"sign": "both"}, "sign"),
        ({"rate_hz": "fast"}, "rate_hz"),
        ({"unit": "kPa", "zero_offset": 1}, "zero_offset"),
        ({"unit": "kPa", "vacuum_column": "x" * 201}, "vacuum_column"),
        ({}, None),
        ({"unit": None, "rate_hz": ""}, None),
        (["kPa"], None),
    ],
)
def test_what_cannot_be_kept_is_named(operator, body, field):
    answer = operator.put(ADDRESS, body, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"][0].get("field") == field
    assert operator.get(ADDRESS).status_code == 404


def test_it_is_the_own_clinic_s_affair(operator, neighbour, stranger):
    keep(operator, vacuum_column="Mary Roe")
    assert neighbour.get(ADDRESS).status_code == 404
    assert neighbour.put(ADDRESS, {"unit": "kPa"}, format="json").json()["code"] == "not_found"
    for method in (stranger.get, stranger.put, stranger.delete):
        assert method(ADDRESS).status_code == 401
    assert "Mary" not in json.dumps(neighbour.get("/api/v1/gauges").json())
    assert "Mary" not in json.dumps(neighbour.get("/api/v1/runs").json())


def test_what_is_declared_of_a_file_makes_its_meaning(operator):
    said = {"unit": "kPa", "rate_hz": 50, "sign": "negative", "vacuum_column": 1}
    first = upload(operator, **said)
    assert first.status_code == 201
    assert upload(operator, **{**said, "unit": " KPA", "rate_hz": "50"}).status_code == 200
    assert upload(operator, **{**said, "rate_hz": 25}).status_code == 201
    assert Run.objects.first().provenance["unit"] == "kPa"


@pytest.mark.parametrize(
    ("key", "value"),
    [("unit", "ells"), ("sign", "up"), ("rate_hz", 0), ("time_column", "t"), ("units", "kPa")],
)
def test_declarations_that_cannot_be_are_refused(operator, key, value):
    answer = upload(operator, **{key: value})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == key


def test_a_declaration_that_the_file_contradicts_is_refused(operator):
    problem = upload(operator, trace_bytes(), unit="kPa").json()
    assert (problem["code"], problem["reason"]) == ("unreadable_trace", "units_disagree")
    assert problem["hint"]
