"""What an upload form may hold: one trace, one provenance object, and nothing else."""

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.models import Run
from tests.declared import provenance
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
SAID = json.dumps(provenance())


def trace(data=None):
    return SimpleUploadedFile("trace.csv", trace_bytes() if data is None else data)


def send(client, url="/api/v1/runs", **fields):
    return client.post(url, {"trace": trace(), "provenance": SAID, **fields}, format="multipart")


@pytest.mark.parametrize("url", ["/api/v1/runs", "/api/v1/measure"])
@pytest.mark.parametrize("value", ["Mary Roe", SimpleUploadedFile("letter.txt", b"Dear Mary")])
def test_a_field_nobody_reads_is_refused(operator, url, value):
    answer = send(operator, url, client_name=value)
    problem = answer.json()
    assert (answer.status_code, problem["errors"][0]["field"]) == (422, "client_name")
    assert "client" in problem["hint"]
    assert not Run.objects.exists()


@pytest.mark.parametrize(
    ("field", "values"),
    [
        ("provenance", [SAID, SAID]),
        ("provenance", [SAID, SimpleUploadedFile("p.json", SAID.encode())]),
        ("trace", [trace(), trace(b"x")]),
        ("trace", [trace(), "text"]),
    ],
)
def test_a_field_that_comes_twice_is_refused(operator, field, values):
    answer = send(operator, **{field: values})
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"field": field, "message": "comes more than once"}]


def test_the_trace_must_be_a_file(operator):
    for form in ({"provenance": SAID}, {"provenance": SAID, "trace": "time,vacuum"}):
        answer = operator.post("/api/v1/runs", form, format="multipart")
        assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, "trace")


def test_the_provenance_may_come_as_a_file(operator):
    told = send(operator, provenance=SimpleUploadedFile("p.json", SAID.encode("utf-8-sig")))
    assert told.status_code == 201
    assert send(operator).json()["id"] == told.json()["id"]


@pytest.mark.parametrize("as_file", [False, True])
def test_a_provenance_that_is_too_long_is_told_so(operator, as_file):
    said = json.dumps(provenance(note="x" * 70_000))
    answer = send(operator, provenance=SimpleUploadedFile("p.json", said.encode()) if as_file else said)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (413, "too_large")
    assert problem["errors"][0]["field"] == "provenance"
    assert "trace" not in problem["detail"].lower() + problem["hint"].lower()


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ("", "JSON"),
        ("[1]", "object"),
        ("{", "JSON"),
        ('{"level": NaN}', "NaN"),
        ('{"level": 1e999}', "too large"),
        ('{"level": 3, "level": 4}', "level"),
        ('{"a": {"b": 1, "b": 2}}', "comes more than once"),
        ('{"\\ud800": 1}', "no text"),
        ('{"a\\u0000": 1}', "no text"),
        ("[" * 60_000, "deeply"),
        (SimpleUploadedFile("p.json", b"\xff{}"), "UTF-8"),
    ],
)
def test_a_provenance_that_cannot_be_taken_says_why(operator, said, message):
    answer = send(operator, provenance=said)
    problem = answer.json()
    assert (answer.status_code, problem["errors"][0]["field"]) == (422, "provenance")
    assert message in problem["detail"]


def test_a_trace_beyond_the_limit_is_refused(operator, settings):
    settings.VACUARY_TRACE_LIMIT = 1000
    answer = send(operator)
    assert (answer.status_code, answer.json()["code"]) == (413, "too_large")
    assert answer.json()["errors"][0]["field"] == "trace"


@pytest.mark.parametrize("url", ["/api/v1/runs", "/api/v1/measure"])
def test_another_kind_of_body_is_not_taken(operator, url):
    answer = operator.post(url, {"trace": "x"}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (415, "unsupported_media_type")
