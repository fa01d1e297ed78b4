"""Identifications over HTTP."""

import json

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.models import Run, Trace
from tests import factories
from tests.declared import MODEL
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
URL = "/api/v1/identifications"
CLINICS = ("north", "south", "east")


@pytest.fixture
def apart(db):
    """A runs at 66 a minute, B at 60."""
    model = factories.pump_model()
    model.revisions.filter(label="A").update(marks={"membrane": "flat"})
    model.revisions.filter(label="B").update(marks={"membrane": "domed"})
    for label, start, rate in (("A", 1, 66.0), ("B", 50_001, 60.0)):
        for k in range(6):
            unit = factories.unit(model, f"LK{start + k:06}", label)
            factories.summary(unit, 200 + k, CLINICS[k % 3])
            said = {"metric": "cycle_rate", "metric_unit": "cycles/min", "u_random": 0.1, "u_systematic": 0.0}
            factories.summary(unit, rate + 0.3 * k, CLINICS[k % 3], **said)
    return model


def form(*files, **question):
    named = [SimpleUploadedFile(f"t{place}.csv", data) for place, data in enumerate(files)]
    return {"question": json.dumps({"model": "Lapwing One", **question}), "trace": named}


def test_a_plain_question_needs_no_account_and_no_trace(operator, stranger):
    asked = {"model": MODEL, "serial": "LK000123", "mark": "amber housing; wheels=4", "firmware": "1.0"}
    answer = stranger.get(URL, asked)
    assert answer.status_code == 200
    document = answer.json()
    assert document["verdict"] == "revision A"
    assert document["revisions"][0]["revision"] == "A"
    assert [piece["kind"] for piece in document["evidence"]] == ["serial", "mark", "mark", "firmware"]
    assert document["next"] is None
    assert {"edition", "as_of", "says", "cautions"} <= set(document)
    apart = {**asked, "mark": ["amber housing", "wheels=4"]}
    assert stranger.get(URL, apart).json()["evidence"] == document["evidence"]
    assert stranger.get(URL, {**asked, "firmware": ["1.0", "2.0"]}).status_code == 422
    again = {"model": MODEL, "serial": "LK000123", "marks": {"housing": "amber", "wheels": "4"}}
    posted = stranger.post(URL, again | {"firmware": "1.0"}, format="json").json()
    assert posted["revisions"] == document["revisions"]


def test_traces_are_measured_and_nothing_is_stored(apart, stranger):
    said = [{"mode": "expression", "level": 3}, {"mode": "expression", "level": "3", "protector": "cup"}]
    sent = form(trace_bytes(rate_cpm=60.5), trace_bytes(rate_cpm=60.5, seed=2), traces=said)
    answer = stranger.post(URL, sent, format="multipart")
    assert answer.status_code == 200
    document = answer.json()
    assert document["named"] == "B"
    assert document["evidence"][0]["said"] == "t0.csv at expression 3"
    assert document["evidence"][0]["measurements"]["cycle_rate"]["value"] == pytest.approx(60.5, abs=0.1)
    assert (Run.objects.count(), Trace.objects.count()) == (0, 0)


def test_who_signs_in_has_the_gauges_of_the_own_clinic(apart, operator, stranger):
    sent = {"traces": [{"mode": "expression", "level": 3, "gauge": "G1"}]}
    uncertain, declared = (
        client.post(URL, form(trace_bytes(rate_cpm=60.5), **sent), format="multipart").json()
        for client in (stranger, operator)
    )
    peaks = [d["evidence"][0]["measurements"]["peak_vacuum"]["uncertainty"] for d in (uncertain, declared)]
    assert peaks[0] > peaks[1]
    assert any("not declared" in caution for caution in uncertain["cautions"])
    assert not any("not declared" in caution for caution in declared["cautions"])


@pytest.mark.parametrize(
    ("question", "field"),
    [
        ({"colour": "red"}, "colour"),
        ({"traces": [{"mode": "expression", "level": 3, "operator": "wren"}]}, "operator"),
        ({"traces": [{"mode": "expression"}]}, "level"),
        ({"traces": []}, "traces"),
        ({"traces": [{"mode": "expression", "level": 3}] * 13}, "traces"),
        ({"marks": "amber"}, "marks"),
        ({"marks": [{"housing": "amber"}]}, "marks"),
        ({"purchased": "yesterday"}, "purchased"),
        ({"purchased": "2999-01-01", "traces": None}, "purchased"),
    ],
)
def test_what_cannot_be_taken_is_refused_by_field(apart, stranger, question, field):
    if question.get("traces", 0) is None:
        answer = stranger.post(URL, {"model": "Lapwing One", "purchased": "2999-01-01"}, format="json")
    else:
        answer = stranger.post(URL, form(trace_bytes(), **question), format="multipart")
    assert answer.status_code == 422
    assert field in {fault["field"].split(".")[0] for fault in answer.json()["errors"]}


def test_forms_that_hold_something_else_are_refused(apart, stranger):
    file = SimpleUploadedFile("t.csv", trace_bytes())
    for sent in (
        {"question": "{}", "photo": file},
        {"trace": file},
        {"question": "[1]"},
        {"question": "{"},
        {"question": "{}", "note": "x"},
    ):
        answer = stranger.post(URL, sent, format="multipart")
        assert answer.status_code == 422, sent
        assert answer.json()["errors"]
    lone = {"model": "Lapwing One", "traces": [{"mode": "expression", "level": 3}]}
    assert stranger.post(URL, lone, format="json").status_code == 422
    assert stranger.get(URL, {"model": "Lapwing One", "colour": "red"}).status_code == 422
    assert stranger.get(URL, {"model": "Lapwing Own"}).json()["code"] == "unknown_pump_model"


def test_uploads_are_bounded(apart, stranger, monkeypatch):
    monkeypatch.setattr(settings, "VACUARY_TRACE_LIMIT", 1000)
    sent = form(trace_bytes(), traces=[{"mode": "expression", "level": 3}])
    assert stranger.post(URL, sent, format="multipart").json()["code"] == "too_large"
    long = {"question": json.dumps({"model": "x" * 70_000})}
    assert stranger.post(URL, long, format="multipart").json()["code"] == "too_large"


def test_an_unreadable_trace_is_named(apart, stranger):
    sent = form(b"no trace", traces=[{"mode": "expression", "level": 3}])
    problem = stranger.post(URL, sent, format="multipart").json()
    assert problem["code"] == "unreadable_trace"
    assert problem["detail"].startswith("t0.csv: ")


def test_what_is_not_known_is_not_asked_again(apart, stranger):
    first = stranger.get(URL, {"model": "Lapwing One", "skip": "setting;serial"}).json()
    assert first["next"]["key"] == "membrane"
    then = stranger.get(URL, {"model": "Lapwing One", "skip": "setting; serial; membrane"}).json()
    assert then["next"] is None
    posted = {"model": "Lapwing One", "skip": ["setting", "serial"]}
    assert stranger.post(URL, posted, format="json").json()["next"] == first["next"]


@pytest.mark.parametrize("ask", ["get", "post"])
def test_a_question_nobody_could_put_is_not_passed_over(apart, stranger, ask):
    said = {"model": "Lapwing One", "skip": ["settings"]}
    how = {"format": "json"} if ask == "post" else {}
    answer = getattr(stranger, ask)(URL, said, **how)
    document = answer.json()
    assert (answer.status_code, document["code"]) == (422, "invalid")
    assert document["errors"][0]["field"] == "skip"
    assert document["nearest"] == ["setting"]
