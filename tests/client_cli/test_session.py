"""Talking to one server: headers, one connection, trying again, and what answers become."""

import time
from datetime import UTC, datetime

import pytest
import requests

from client_cli import __version__
from client_cli.errors import Fault, NotPermitted, Refused, Unreachable, WrongVersion
from client_cli.retry import Patience, Transient, retry_after
from client_cli.session import Session
from tests.client_cli.server import TOKEN, Trouble, problem


def test_every_request_shows_the_token_and_the_version(session, registry):
    session.get("health")
    headers = registry.asked[0].headers
    assert headers["authorization"] == f"Token {TOKEN}"
    assert headers["vacuary-client"] == __version__


def test_without_a_token_no_authorization_is_sent_even_with_a_netrc(server, registry, home, short_waits):
    (home / ".netrc").write_text("machine 127.0.0.1 login someone password secret\n")
    (home / ".netrc").chmod(0o600)
    with Session(server.url) as session:
        session.get("health")
    assert "authorization" not in registry.asked[0].headers


def test_all_requests_share_one_connection_also_after_a_refusal(session, registry, server):
    for _ in range(5):
        session.get("health")
    with pytest.raises(Refused):
        session.get("nowhere")
    session.post_trace("runs", "a.csv", b"1", {"serial": "A"})
    assert server.connections == 1


@pytest.mark.parametrize("status", [429, 502, 503, 504])
def test_a_server_that_is_not_ready_is_asked_again(session, registry, status):
    registry.troubles = [Trouble(status=status), Trouble(status=status)]
    assert session.get("health")["status"] == "ok"
    assert registry.count("GET", "health") == 3


@pytest.mark.parametrize("cut", ["before", "after", "midway"])
def test_a_cut_connection_is_made_again(session, registry, server, cut):
    registry.troubles = [Trouble(cut=cut)]
    answer = session.post_trace("runs", "a.csv", b"1;2", {"serial": "A"})
    assert answer.document["state"] == "accepted"
    assert answer.tries == 2
    assert len(registry.runs) == 1
    assert server.connections == 2


def test_the_whole_file_is_sent_again_on_the_second_try(session, registry):
    registry.troubles = [Trouble(status=503)]
    session.post_trace("runs", "a.csv", b"x" * 100_000, {"serial": "A"})
    assert [asked.form["trace"] for asked in registry.asked] == [b"x" * 100_000] * 2


def test_the_server_says_how_long_to_wait(server, registry, short_waits):
    waits = []
    registry.troubles = [Trouble(status=503, headers={"Retry-After": "1"})]
    with Session(server.url, patience_s=5, tell=lambda why, wait_s: waits.append(wait_s)) as session:
        began = time.monotonic()
        session.get("health")
    assert time.monotonic() - began >= 1
    assert waits == [1.0]


def test_a_wait_beyond_patience_is_not_begun(server, registry, short_waits):
    registry.troubles = [Trouble(status=429, headers={"Retry-After": "900"})]
    began = time.monotonic()
    with Session(server.url, patience_s=5) as session, pytest.raises(Unreachable) as raised:
        session.get("health")
    assert time.monotonic() - began < 2
    assert "900 s" in raised.value.hint


def test_patience_ends(server, registry, short_waits):
    registry.troubles = [Trouble(cut="before")] * 1000
    began = time.monotonic()
    with Session(server.url, patience_s=0.2) as session, pytest.raises(Unreachable, match="tries"):
        session.get("health")
    assert 0.1 < time.monotonic() - began < 3


def test_nothing_listening_is_unreachable_and_says_so(short_waits):
    with (
        Session("http://127.0.0.1:9", patience_s=0.05) as session,
        pytest.raises(Unreachable, match="nothing listens"),
    ):
        session.get("health")


def test_a_post_that_must_not_be_repeated_is_sent_once(session, registry):
    registry.troubles = [Trouble(cut="after")]
    registry.answers["POST", "runs/7/withdraw"] = (200, {})
    with pytest.raises(Unreachable) as raised:
        session.post("runs/7/withdraw", {"reason": "leak"})
    assert registry.count("POST", "runs/7/withdraw") == 1
    assert "may or may not" in raised.value.hint


def test_a_repeatable_post_and_a_put_are_repeated(session, registry):
    registry.answers["POST", "catalogue"] = (200, {"changes": []})
    registry.answers["PUT", "gauges/G1"] = (201, {"code": "G1"})
    registry.troubles = [Trouble(cut="after")]
    assert session.post("catalogue", {}, repeatable=True).document == {"changes": []}
    registry.troubles = [Trouble(status=502)]
    assert session.put("gauges/G1", {}).status == 201


def test_a_path_with_odd_letters_stays_one_segment(session, registry):
    with pytest.raises(Refused):
        session.get("runs/7?x=1#y")
    assert registry.asked[0].path == "runs/7%3Fx%3D1%23y"


@pytest.mark.parametrize(
    ("status", "code", "kind"),
    [
        (401, "not_signed_in", NotPermitted),
        (403, "not_permitted", NotPermitted),
        (400, "malformed", Refused),
        (404, "not_found", Refused),
        (409, "spans_overlap", Refused),
        (413, "too_large", Refused),
        (422, "invalid", Refused),
        (500, "fault", Fault),
    ],
)
def test_problem_documents_become_typed_errors(session, registry, status, code, kind):
    registry.answers["GET", "thing"] = problem(
        status,
        code,
        "What is wrong.",
        "What to do.",
        nearest=["A", "B"],
        errors=[{"line": 3, "message": "m"}],
    )
    with pytest.raises(kind) as raised:
        session.get("thing")
    error = raised.value
    assert error.message == "What is wrong."
    assert error.hint == "What to do." or (status == 401 and "vacuary connect" in error.hint)
    assert error.problem is not None
    assert (error.problem.code, error.problem.nearest) == (code, ("A", "B"))
    assert error.problem.errors == ({"line": 3, "message": "m"},)


def test_a_server_of_another_kind_is_a_fault_that_names_the_status(session, registry):
    registry.troubles = [Trouble(status=404, headers={"Content-Type": "text/html"}, body=b"<h1>No</h1>")]
    with pytest.raises(Fault, match="HTTP 404") as raised:
        session.get("health")
    assert raised.value.problem is None
    registry.troubles = [Trouble(status=200, headers={"Content-Type": "text/html"}, body=b"<h1>Hi</h1>")]
    with pytest.raises(Fault, match="HTTP 200"):
        session.get("health")


def test_a_redirect_is_not_followed_with_the_token(session, registry):
    registry.troubles = [Trouble(status=301, headers={"Location": "http://elsewhere.example/api/v1/health"})]
    with pytest.raises(Fault, match=r"elsewhere\.example"):
        session.get("health")
    assert len(registry.asked) == 1


@pytest.mark.parametrize(
    ("served", "word"), [(">=0.2,<1", "too old"), (">=0.0.1,<0.1", "too new"), ("!=0.1", "does not fit")]
)
def test_a_client_outside_the_served_range_is_told(session, registry, served, word):
    registry.clients = served
    with pytest.raises(WrongVersion, match=word):
        session.get("health")


def test_lists_are_followed_page_by_page_with_the_query_of_next_only(session, registry):
    pages = {
        None: {"results": [{"id": 1}, {"id": 2}], "next": "https://evil.example/runs?cursor=b&page_size=2"},
        "b": {"results": [{"id": 3}], "next": None},
    }
    registry.answers["GET", "runs"] = lambda asked: (200, pages[asked.query.get("cursor")])
    assert [row["id"] for row in session.rows("runs", {"model": "X"})] == [1, 2, 3]
    assert registry.asked[0].query == {"model": "X", "page_size": "500"}
    assert registry.asked[1].query == {"cursor": "b", "page_size": "2"}


def test_collect_stops_at_the_limit_and_says_that_there_is_more(session, registry):
    registry.answers["GET", "runs"] = (200, {"results": [{"id": 1}, {"id": 2}], "next": "http://x/?cursor=b"})
    document = session.collect("runs", limit=2)
    assert [row["id"] for row in document["results"]] == [1, 2]
    assert document["next"] == "http://x/?cursor=b"
    assert registry.count("GET", "runs") == 1


def test_an_answer_without_results_is_not_taken_for_an_empty_list(session, registry):
    registry.answers["GET", "runs"] = (200, {"detail": "something else"})
    with pytest.raises(Fault, match="not the list"):
        session.collect("runs")


def test_retry_after_as_count_and_as_date():
    now = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
    assert retry_after("17") == 17
    assert retry_after("Sun, 01 Mar 2026 12:00:30 GMT", now) == 30
    assert retry_after("Sun, 01 Mar 2026 11:00:00 GMT", now) == 0
    assert retry_after("soon") is None
    assert retry_after(None) is None


def test_waits_grow_and_are_spread():
    waits = []
    clock = [0.0]
    patience = Patience(300, lambda why, wait_s: waits.append(wait_s), clock=lambda: clock[0])
    patience.sleep = lambda wait_s: clock.__setitem__(0, clock[0] + wait_s)

    def fail():
        raise Transient("no")

    with pytest.raises(Transient):
        patience.retrying()(fail)
    assert all(0.25 * 2**n <= wait <= min(0.5 * 2**n, 30) for n, wait in enumerate(waits[:6]))
    assert all(15 <= wait <= 30 for wait in waits[7:])
    assert sum(waits) <= 300


def test_patience_counts_from_the_first_failure_so_a_slow_try_gets_another():
    clock = [0.0]
    tries = []
    patience = Patience(30, sleep=lambda wait_s: None, clock=lambda: clock[0])

    def slow():
        clock[0] += 400
        tries.append(clock[0])
        if len(tries) == 1:
            raise Transient("cut near the end")
        return "done"

    assert patience.retrying()(slow) == "done"


def test_an_untrusted_certificate_is_not_tried_again(server, monkeypatch, short_waits):
    calls = []

    def refuse(*args, **how):
        calls.append(args)
        raise requests.exceptions.SSLError("certificate verify failed")

    with Session(server.url, patience_s=5) as session:
        monkeypatch.setattr(session._http, "request", refuse)
        with pytest.raises(Unreachable, match="not trusted"):
            session.get("health")
    assert len(calls) == 1
