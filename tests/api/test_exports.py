"""Exports over HTTP: headers that prove the file, going on, bounds, and refusals in words."""

import base64
import csv
import hashlib
import io
import threading
from wsgiref.simple_server import WSGIRequestHandler, make_server

import pandas as pd
import pytest
from django.core.signals import request_finished
from django.db import close_old_connections, connection, connections
from django.test.utils import CaptureQueriesContext

from api.serializers.exports import QUERIES
from api.views import exports
from client_cli.export import fetch
from client_cli.session import Session
from registry.answers.exports import measurements
from registry.answers.exports.tables import TABLES
from registry.config.wsgi import application
from registry.intake.summaries import refresh_summaries
from tests import factories
from tests.answers.exports.stored import measured_run

pytestmark = pytest.mark.django_db
URL = "/api/v1/exports"
ASKED = {"model": "Lapwing One"}


@pytest.fixture(autouse=True)
def exports_folder(settings, tmp_path):
    """Files of exports go into a folder of the test's own."""
    settings.VACUARY_EXPORTS = tmp_path / "exports"


@pytest.fixture
def unit():
    factories.edition()
    return factories.unit(factories.pump_model(), "LK000001", "A")


class Silent(WSGIRequestHandler):
    """Says nothing of the requests it serves."""

    def log_message(self, *_):
        """Keep quiet."""


@pytest.fixture
def listening(transactional_db):
    """The address of the application behind a server that sends files as a WSGI server does."""

    def serve():
        server.serve_forever(poll_interval=0.05)
        connections.close_all()

    with make_server("127.0.0.1", 0, application, handler_class=Silent) as server:
        thread = threading.Thread(target=serve)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


@pytest.fixture
def run(unit):
    return measured_run(unit)


def body(answer) -> bytes:
    return b"".join(answer.streaming_content)


def give_up(answer) -> None:
    """Close an answer as a server does when the line is cut; the test's transaction stays open."""
    request_finished.disconnect(close_old_connections)
    answer.close()
    request_finished.connect(close_old_connections)


def test_every_table_can_be_asked_for():
    assert set(QUERIES) == set(TABLES)


def test_a_file_comes_with_its_length_its_digest_and_what_it_holds(stranger, run):
    answer = stranger.get(URL, ASKED)
    data = body(answer)
    digest = hashlib.sha256(data).digest()
    assert answer.status_code == 200
    assert answer["Content-Type"] == "text/csv; charset=utf-8; header=present"
    assert answer["Content-Length"] == str(len(data))
    assert answer["Repr-Digest"] == f"sha-256=:{base64.b64encode(digest).decode()}:"
    assert answer["ETag"] == f'"{digest.hex()}"'
    assert answer["Content-Disposition"] == 'attachment; filename="lapwing-one-measurements.csv"'
    assert (answer["Vacuary-Rows"], answer["Vacuary-Edition"]) == ("3", "1")
    assert pd.Timestamp(answer["Vacuary-As-Of"]) <= pd.Timestamp.now(tz="UTC")
    assert len(pd.read_csv(io.BytesIO(data))) == 3
    assert body(stranger.get(URL, ASKED)) == data


def test_parquet_and_answers_come_the_same_way(stranger, unit):
    factories.summary(unit, 240.0)
    answer = stranger.get(URL, {**ASKED, "of": "distributions", "format": "parquet", "level": "3"})
    assert answer["Content-Type"] == "application/vnd.apache.parquet"
    assert answer["Content-Disposition"] == 'attachment; filename="lapwing-one-distributions.parquet"'
    frame = pd.read_parquet(io.BytesIO(body(answer)))
    assert frame["centre"].tolist() == [240.0]
    shown = stranger.get("/api/v1/distributions", {**ASKED, "level": "3"}).json()["cells"]
    assert frame["metric"].tolist() == [cell["metric"] for cell in shown]


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_table_can_be_made_again_as_of_the_time_it_tells(stranger, unit, run, form):
    asked = {**ASKED, "format": form}
    first = stranger.get(URL, asked)
    data = body(first)
    measured_run(unit)
    assert body(stranger.get(URL, asked)) != data
    again = stranger.get(URL, {**asked, "as_of": first["Vacuary-As-Of"]})
    assert body(again) == data
    assert again["Repr-Digest"] == first["Repr-Digest"]
    assert again["Vacuary-As-Of"] == first["Vacuary-As-Of"]


@pytest.mark.parametrize("form", ["csv", "parquet"])
@pytest.mark.parametrize(
    "asked", [{"of": "comparisons", "old": "A", "new": "B"}, {"of": "claims"}], ids=["comparisons", "claims"]
)
def test_a_table_of_builds_made_again_is_the_same_to_the_byte(stranger, unit, asked, form):
    """That it was made again is no part of it: its digest is what people printed below a figure."""
    for k in range(3):
        for start, label in ((0, "A"), (50_000, "B")):
            one = factories.unit(unit.pump_model, f"LK{start + k:06}", label)
            refresh_summaries(measured_run(one, plus=0.1 * k))
    sameness = {"metric": "peak_vacuum", "relation": "same as before", "value": 0, "unit": "mmHg"}
    unit.pump_model.claims.create(mode="expression", source="leaflet", **sameness)
    wanted = {**ASKED, **asked, "format": form}
    first = stranger.get(URL, wanted)
    assert int(first["Vacuary-Rows"]) > 0
    data = body(first)
    again = stranger.get(URL, {**wanted, "as_of": first["Vacuary-As-Of"]})
    assert body(again) == data
    assert again["Repr-Digest"] == first["Repr-Digest"]


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_file_is_sent_as_it_is_digested_though_compression_is_offered(stranger, run, form):
    answer = stranger.get(URL, {**ASKED, "format": form}, HTTP_ACCEPT_ENCODING="gzip")
    assert not answer.has_header("Content-Encoding")
    assert answer.has_header("Content-Length")
    body(answer)


def test_other_answers_are_still_compressed(stranger, run):
    answer = stranger.get("/api/v1/runs", HTTP_ACCEPT_ENCODING="gzip")
    assert answer["Content-Encoding"] == "gzip"


@pytest.mark.parametrize("accepted", ["text/csv", "application/vnd.apache.parquet", "image/png", "*/*"])
def test_the_parameter_and_not_the_header_says_which_format(stranger, run, accepted):
    answer = stranger.get(URL, ASKED, HTTP_ACCEPT=accepted)
    assert answer.status_code == 200
    body(answer)


def test_going_on_from_a_byte_gives_the_rest_of_the_same_file(stranger, run):
    whole = stranger.get(URL, ASKED)
    data, tag = body(whole), whole["ETag"]
    rest = stranger.get(URL, ASKED, HTTP_RANGE="bytes=100-", HTTP_IF_RANGE=tag)
    assert rest.status_code == 206
    assert rest["Content-Range"] == f"bytes 100-{len(data) - 1}/{len(data)}"
    assert rest["Content-Length"] == str(len(data) - 100)
    assert rest["Repr-Digest"] == whole["Repr-Digest"]
    assert body(rest) == data[100:]


@pytest.mark.parametrize(
    ("begin", "tag"),
    [
        ("bytes=100-", '"other"'),
        ("bytes=100-", ""),
        ("bytes=999999-", None),
        ("bytes=1-5", None),
        ("x", None),
    ],
)
def test_otherwise_the_whole_file_comes(stranger, run, begin, tag):
    whole = stranger.get(URL, ASKED)
    data = body(whole)
    asked = {"HTTP_RANGE": begin, "HTTP_IF_RANGE": whole["ETag"] if tag is None else tag}
    again = stranger.get(URL, ASKED, **asked)
    assert again.status_code == 200
    assert body(again) == data


def test_a_byte_order_mark_is_for_who_asks_for_it(stranger, run):
    assert body(stranger.get(URL, {**ASKED, "bom": "true"})) == b"\xef\xbb\xbf" + body(
        stranger.get(URL, ASKED)
    )


@pytest.mark.parametrize(
    ("asked", "status", "code", "field"),
    [
        ({}, 422, "invalid", "model"),
        ({"model": "Nobody"}, 422, "unknown_pump_model", "model"),
        ({**ASKED, "clinic": "nowhere"}, 422, "invalid", "clinic"),
        ({**ASKED, "gauge": "G99"}, 422, "invalid", "gauge"),
        ({**ASKED, "revision": "Z"}, 422, "invalid", "revision"),
        ({**ASKED, "of": "feelings"}, 422, "invalid", "of"),
        ({**ASKED, "format": "xlsx"}, 422, "invalid", "format"),
        ({**ASKED, "state": "lost"}, 422, "invalid", "state"),
        ({**ASKED, "since": "yesterday"}, 422, "invalid", "since"),
        ({**ASKED, "charm": "1"}, 422, "invalid", "charm"),
        ({**ASKED, "first": "LK000001"}, 422, "invalid", "first"),
        ({**ASKED, "of": "serials", "first": "LK000001", "level": "3"}, 422, "invalid", "level"),
        ({**ASKED, "of": "serials"}, 422, "invalid", "first"),
        ({**ASKED, "metric": "charm"}, 422, "invalid", "metric"),
        ({**ASKED, "edition": "9"}, 422, "invalid", "edition"),
        ({**ASKED, "since": "2026-03-01", "until": "2026-03-01"}, 422, "invalid", "until"),
    ],
)
def test_what_cannot_be_answered_is_refused_in_words(stranger, run, asked, status, code, field):
    answer = stranger.get(URL, asked)
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    problem = answer.json()
    assert problem["code"] == code
    assert [fault["field"] for fault in problem["errors"]] == ([field])


def test_too_much_is_refused_with_what_to_do(stranger, run, monkeypatch):
    monkeypatch.setattr(measurements, "MOST_ROWS", 0)
    problem = stranger.get(URL, ASKED).json()
    assert (problem["status"], problem["code"], problem["most_rows"]) == (413, "too_large", 0)
    assert "since" in problem["hint"]


def test_who_may_read_may_export(stranger, operator, run, settings):
    settings.VACUARY_READS_OPEN = False
    assert stranger.get(URL, ASKED).status_code == 401
    assert stranger.get(f"{URL}/dictionary").status_code == 401
    answer = operator.get(URL, ASKED)
    assert answer.status_code == 200
    body(answer)


def test_a_question_about_every_pump_needs_no_model(stranger, unit):
    answer = stranger.get(URL, {"of": "settings-matches", "rate": "70.."})
    assert answer.status_code == 200
    assert answer["Content-Disposition"] == 'attachment; filename="settings-matches.csv"'
    body(answer)


def test_a_place_is_held_until_the_file_is_sent_or_given_up(stranger, run):
    held = [stranger.get(URL, ASKED) for _ in range(exports.AT_ONCE)]
    refused = stranger.get(URL, ASKED)
    assert refused.status_code == 429
    assert refused.json()["code"] == "too_many_requests"
    assert int(refused["Retry-After"]) > 0
    assert stranger.get(f"{URL}/dictionary").status_code == 200
    give_up(held[0])
    give_up(held[0])
    sent = stranger.get(URL, ASKED)
    assert sent.status_code == 200
    assert stranger.get(URL, ASKED).status_code == 429
    for answer in (sent, *held[1:]):
        body(answer)
    body(stranger.get(URL, ASKED))


def test_a_refused_export_holds_no_place(stranger, run):
    for _ in range(exports.AT_ONCE + 1):
        assert stranger.get(URL, {"model": "Nobody"}).status_code == 422
    answer = stranger.get(URL, ASKED)
    assert answer.status_code == 200
    body(answer)


def test_nothing_lies_in_the_folder_of_exports(stranger, run, tmp_path):
    answer = stranger.get(URL, ASKED)
    assert list((tmp_path / "exports").iterdir()) == []
    body(answer)


def test_the_number_of_queries_does_not_grow(stranger, unit):
    asked = []
    for _ in range(2):
        for _ in range(4):
            measured_run(unit)
        with CaptureQueriesContext(connection) as caught:
            body(stranger.get(URL, ASKED))
        asked.append(len(caught))
    assert asked[0] == asked[1]


@pytest.mark.parametrize("of", TABLES)
def test_the_dictionary_tells_every_column_in_json_and_csv(stranger, run, of):
    document = stranger.get(f"{URL}/dictionary", {"of": of}).json()
    names = [column.name for column in TABLES[of].columns]
    assert [column["name"] for column in document["columns"]] == names
    assert {metric["name"] for metric in document["metrics"]} >= {"cycle_rate", "loss_rate"}
    answer = stranger.get(f"{URL}/dictionary", {"of": of, "format": "csv", "bom": "true"})
    assert answer["Content-Type"].startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    assert [row["name"] for row in rows if row["kind"] == "column"] == names


def test_the_dictionary_is_proven_by_its_digest_too(stranger, run):
    answer = stranger.get(f"{URL}/dictionary", {"format": "csv"})
    told = base64.b64encode(hashlib.sha256(answer.content).digest()).decode()
    assert answer["Repr-Digest"] == f"sha-256=:{told}:"


@pytest.mark.django_db(transaction=True)
def test_the_client_takes_a_file_from_a_listening_server(listening, tmp_path):
    factories.edition()
    measured_run(factories.unit(factories.pump_model(), "LK000001", "A"))
    with (tmp_path / "out.csv").open("w+b") as file, Session(listening) as session:
        fetched = fetch(session, "exports", ASKED, file, lambda size, total: None)
        assert fetched.rows == 3
        assert file.seek(0) == 0
        assert hashlib.sha256(file.read()).hexdigest() == fetched.digest
        assert fetch(session, "exports/dictionary", {"format": "csv"}, file, lambda size, total: None).size
