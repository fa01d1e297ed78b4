"""Every refusal is a problem document (RFC 9457) with a stable code and something to do about it."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from rest_framework.test import APIClient

from api.problems import STATUS
from tests.api.stored import alert
from tests.declared import CATALOGUE, GAUGE

pytestmark = pytest.mark.django_db
DEEP = "[" * 100_000


def check(answer, code):
    """Assert that `answer` is the problem document of `code`; return it."""
    problem = answer.json()
    assert answer["Content-Type"] == "application/problem+json"
    assert (problem["code"], problem["status"], answer.status_code) == (code, STATUS[code], STATUS[code])
    assert problem["type"] == f"urn:vacuary:problem:{code}"
    assert problem["title"]
    assert problem["detail"]
    assert problem["hint"]
    assert problem["request_id"] == answer["X-Request-Id"]
    assert "SETTINGS" not in answer.text.upper()
    return problem


def json_bodies(curator):
    number = alert().pk
    return [
        (curator.post, "/api/v1/catalogue"),
        (curator.put, "/api/v1/gauges/G7"),
        (curator.post, "/api/v1/runs/1/withdraw"),
        (curator.post, f"/api/v1/alerts/{number}/dismiss"),
    ]


@pytest.mark.parametrize(
    "body",
    [DEEP, '{"a":' * 100_000, "{", b"\xff", '{"a": 1, "a": 2}', '{"a": Infinity}', '{"a\\u0000": 1}'],
)
def test_a_json_body_that_cannot_be_taken(curator, body):
    for send, address in json_bodies(curator):
        check(send(address, body, content_type="application/json"), "malformed")


@pytest.mark.parametrize("kind", ["text/plain", "application/xml", "multipart/form-data; boundary=x"])
def test_a_body_of_another_kind(curator, kind):
    for send, address in json_bodies(curator):
        check(send(address, b"<a/>", content_type=kind), "unsupported_media_type")


def test_a_form_with_too_many_files_or_fields(operator):
    files = {f"f{n}": SimpleUploadedFile("t.csv", b"1,2") for n in range(21)}
    problem = check(operator.post("/api/v1/runs", files, format="multipart"), "malformed")
    assert "files" in problem["title"]
    fields = {f"f{n}": "x" for n in range(2000)}
    problem = check(operator.post("/api/v1/measure", fields, format="multipart"), "malformed")
    assert "fields" in problem["title"]


def test_a_form_that_is_broken(operator):
    body = b"--x\r\nno header at all"
    for kind in ("multipart/form-data", "multipart/form-data; boundary=\xff"):
        check(operator.post("/api/v1/runs", body, content_type=kind), "malformed")


def test_a_host_this_server_is_not(settings):
    settings.ALLOWED_HOSTS = ["bench.example"]
    problem = check(APIClient().get("/api/v1/health", headers={"Host": "elsewhere.example"}), "malformed")
    assert "VACUARY_HOSTS" in problem["hint"]


def test_too_much_is_told_in_the_words_of_what_was_sent(operator, curator, settings):
    settings.VACUARY_BODY_LIMIT = 500
    form = {"trace": SimpleUploadedFile("t.csv", b"x" * 600)}
    assert "trace" in check(operator.post("/api/v1/runs", form, format="multipart"), "too_large")["title"]
    problem = check(curator.post("/api/v1/catalogue", CATALOGUE, format="json"), "too_large")
    assert "trace" not in str(problem).lower()
    assert "catalogue" in problem["hint"]


@pytest.mark.parametrize("length", ["-1", "many", "1.5", "9" * 30])
def test_a_length_that_is_none(stranger, length):
    check(stranger.get("/api/v1/health", CONTENT_LENGTH=length), "malformed")


def test_a_body_without_a_length(stranger):
    answer = stranger.post("/api/v1/measure", headers={"Transfer-Encoding": "chunked"})
    check(answer, "length_required")


def test_a_method_an_address_does_not_take_is_told_with_those_it_does(stranger, operator):
    for client in (stranger, operator):
        answer = client.patch("/api/v1/serials?model=x&bogus=1")
        check(answer, "method_not_allowed")
        assert answer["Allow"] == "GET, HEAD, OPTIONS"


@pytest.mark.parametrize(
    "address",
    [
        "health",
        "schema",
        "measure",
        "runs",
        "runs/1",
        "serials",
        "distributions",
        "alerts",
        "makers",
        "gauges/1",
    ],
)
def test_options_are_told_whatever_the_query(operator, address):
    answer = operator.options(f"/api/v1/{address}?bogus=1", headers={"Accept": "application/json"})
    assert answer.status_code == 200
    assert "OPTIONS" in answer.json()["methods"]


@pytest.mark.parametrize(
    "address",
    [
        "health?bogus=1",
        "schema?bogus=1",
        "runs?mine=maybe",
        "runs?mine=2",
        "runs?level=1&level=2",
        "serials?model=a&model=b&first=c",
        "runs?model=%00",
        "runs/1?bogus=1",
        "serials",
        "distributions?model=x&mode=massage",
    ],
)
def test_a_query_that_cannot_be_meant(stranger, address):
    assert check(stranger.get(f"/api/v1/{address}"), "invalid")["errors"][0]["field"]


@pytest.mark.parametrize(
    "address", ["runs/1", "makers/1", "units/999999999999999999", "nowhere", "gauges/G1"]
)
def test_what_is_not_there(stranger, address):
    problem = check(stranger.get(f"/api/v1/{address}"), "not_found")
    assert "matches the given query" not in problem["detail"]


def test_who_may_not(operator, stranger):
    check(operator.post("/api/v1/catalogue", CATALOGUE, format="json"), "not_permitted")
    answer = stranger.put("/api/v1/gauges/G1", GAUGE, format="json")
    check(answer, "not_signed_in")
    assert answer["WWW-Authenticate"] == "Token"
    stranger.credentials(HTTP_AUTHORIZATION="Token unknown")
    assert "new token" in check(stranger.get("/api/v1/runs"), "not_signed_in")["hint"]
    stranger.credentials(HTTP_AUTHORIZATION="Token \xff")
    check(stranger.get("/api/v1/runs"), "not_signed_in")


def test_an_answer_in_another_form_is_not_to_be_had(stranger):
    check(stranger.get("/api/v1/runs", headers={"Accept": "text/html"}), "not_acceptable")


def test_a_fault_of_the_program_says_nothing_of_its_inside(stranger, monkeypatch):
    def broken(*args, **kwargs):
        raise ZeroDivisionError("secret inside")

    monkeypatch.setattr("api.views.kept.kept_answer", broken)
    stranger.raise_request_exception = False
    answer = stranger.get("/api/v1/claims?model=a")
    check(answer, "fault")
    assert "secret" not in answer.text
