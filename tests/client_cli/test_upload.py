"""Sending a sweep: what becomes of each row, and going on where it stopped."""

import itertools
import json
import tracemalloc

import pytest

from client_cli import upload
from client_cli.errors import Fault, NotPermitted, Unreachable
from client_cli.journal import Entry, Journal, digest_of_provenance, journal_path
from client_cli.manifest import Row, read
from client_cli.session import Session
from client_cli.upload import counts, upload_rows
from tests.client_cli.server import TOKEN, Trouble, measured, problem


@pytest.fixture
def journal(tmp_path):
    return Journal(tmp_path / "state" / "journal.jsonl")


def outcomes(session, path, **how):
    return [outcome.outcome for outcome in upload_rows(session, read(path), **how)]


def test_each_row_has_its_outcome_and_a_refused_one_does_not_stop_the_rest(session, sweep, registry):
    heard = []
    rows = read(sweep(b"1", b"bad", b"held", b"2", b"broken", b"1"))
    found = upload_rows(session, rows, heard.append)
    assert [outcome.outcome for outcome in found] == [
        "accepted",
        "refused",
        "held",
        "accepted",
        "failed",
        "accepted",
    ]
    assert heard == found
    assert [outcome.id for outcome in found] == [1, None, 2, 3, None, 4]
    assert counts(found) == {"accepted": 3, "held": 1, "refused": 1, "same": 0, "failed": 1}


def test_a_refusal_carries_the_server_s_words(session, sweep):
    (outcome,) = upload_rows(session, read(sweep(b"bad")))
    assert outcome.problem is not None
    assert outcome.as_dict()["problem"]["errors"] == [
        {"line": 7, "message": "no number in the vacuum column"}
    ]


def test_everything_goes_over_one_connection_with_its_provenance(session, sweep, registry, server):
    upload_rows(session, read(sweep(*(b"%d" % n for n in range(20)))))
    assert server.connections == 1
    form = registry.asked[2].form
    assert form["trace"] == b"2"
    assert json.loads(form["provenance"]) == {
        "pump_model": "Pellomi",
        "serial": "LK000123",
        "mode": "expression",
        "level": 3,
    }


def test_the_same_sweep_without_a_journal_stores_nothing_twice(session, sweep, registry):
    path = sweep(b"1", b"held")
    assert outcomes(session, path) == ["accepted", "held"]
    again = upload_rows(session, read(path))
    assert [(outcome.outcome, outcome.state) for outcome in again] == [("same", "accepted"), ("same", "held")]
    assert len(registry.runs) == 2


def test_a_cut_line_during_a_sweep_loses_and_doubles_nothing(session, sweep, registry):
    registry.troubles = [Trouble(cut="after"), Trouble(cut="midway"), Trouble(status=503), Trouble()]
    assert outcomes(session, sweep(b"1", b"2", b"3")) == ["accepted"] * 3
    assert len(registry.runs) == 3


def test_what_was_acknowledged_is_not_sent_again(session, sweep, registry, journal):
    path = sweep(b"1", b"bad", b"2")
    assert outcomes(session, path, journal=journal) == ["accepted", "refused", "accepted"]
    registry.asked.clear()
    later = upload_rows(session, read(path), journal=Journal(journal.path))
    assert [(outcome.outcome, outcome.skipped) for outcome in later] == [
        ("same", True),
        ("refused", False),
        ("same", True),
    ]
    assert [outcome.id for outcome in later] == [1, None, 2]
    assert registry.count("POST", "runs") == 1


def test_the_server_says_how_an_acknowledged_run_stands_now(session, sweep, registry, journal):
    path = sweep(b"held", b"1")
    outcomes(session, path, journal=journal)
    held, accepted = registry.runs.values()
    held["state"], accepted["state"] = "accepted", "withdrawn"
    found = upload_rows(session, read(path), journal=journal)
    assert [(outcome.outcome, outcome.state, outcome.skipped) for outcome in found] == [
        ("same", "accepted", True),
        ("same", "withdrawn", True),
    ]
    assert registry.count("POST", "runs") == 2


def test_what_the_server_lost_is_sent_again(session, sweep, registry, journal):
    path = sweep(b"1", b"held", b"2")
    outcomes(session, path, journal=journal)
    registry.runs.clear()
    assert outcomes(session, path, journal=journal) == ["accepted", "held", "accepted"]
    assert len(registry.runs) == 3
    assert outcomes(session, path, journal=Journal(journal.path)) == ["same"] * 3


def test_the_same_ids_at_a_server_that_began_anew_prove_nothing(session, sweep, registry, journal):
    path = sweep(b"1", b"2")
    outcomes(session, path, journal=journal)
    registry.runs.clear()
    upload_rows(session, read(sweep(b"2", b"other", folder="another")))
    assert outcomes(session, path, journal=journal) == ["accepted", "accepted"]
    assert len(registry.runs) == 4


def test_whether_runs_are_there_is_asked_in_bulk_and_no_further_back_than_needed(
    session, sweep, registry, journal
):
    old = sweep(*(b"old%d" % n for n in range(60)), folder="old")
    outcomes(session, old)
    path = sweep(*(b"%d" % n for n in range(30)))
    outcomes(session, path, journal=journal)
    registry.asked.clear()
    assert outcomes(session, path, journal=journal) == ["same"] * 30
    (asked,) = registry.asked
    assert asked.query == {"mine": "true", "page_size": "30", "model": "Pellomi", "serial": "LK000123"}


def test_nothing_is_asked_about_runs_never_sent(session, sweep, registry, journal):
    outcomes(session, sweep(b"1", b"2"), journal=journal)
    assert registry.count("GET", "runs") == 0


def test_a_run_listed_twice_is_sent_once(session, sweep, registry, journal):
    path = sweep(b"1")
    path.write_text(path.read_text() + path.read_text().splitlines()[-1] + "\n")
    assert outcomes(session, path, journal=journal) == ["accepted", "same"]
    assert registry.count("POST", "runs") == 1


def test_a_server_that_cannot_list_them_is_sent_everything(session, sweep, registry, journal):
    path = sweep(b"1")
    outcomes(session, path, journal=journal)
    registry.answers["GET", "runs"] = problem(422, "invalid", "Unknown query parameter: mine")
    (outcome,) = upload_rows(session, read(path), journal=journal)
    assert (outcome.outcome, outcome.skipped) == ("same", False)
    assert registry.count("POST", "runs") == 2


def test_again_sends_everything(session, sweep, registry, journal):
    path = sweep(b"1", b"2")
    outcomes(session, path, journal=journal)
    assert outcomes(session, path, journal=journal, again=True) == ["same", "same"]
    assert registry.count("POST", "runs") == 4


def test_another_setting_or_other_bytes_are_another_run(session, sweep, registry, journal):
    path = sweep(b"1")
    outcomes(session, path, journal=journal)
    path.write_text(path.read_text().replace("expression", "stimulation"))
    assert outcomes(session, path, journal=journal) == ["accepted"]
    (path.parent / "traces" / "1.csv").write_bytes(b"1 ")
    assert outcomes(session, path, journal=journal) == ["accepted"]


@pytest.mark.parametrize("trouble", ["unreachable", "interrupted", "signed out"])
def test_an_upload_that_ends_early_goes_on_where_it_stopped(
    server, sweep, registry, journal, short_waits, trouble
):
    path = sweep(b"1", b"2", b"3", b"4")
    heard = []

    def stop_at_two(outcome):
        heard.append(outcome)
        if len(heard) == 2 and trouble == "unreachable":
            registry.troubles = [Trouble(cut="before")] * 10_000
        if len(heard) == 2 and trouble == "signed out":
            registry.answers["POST", "runs"] = problem(403, "not_permitted", "No longer yours.")
        if len(heard) == 2 and trouble == "interrupted":
            raise KeyboardInterrupt

    kind = {"unreachable": Unreachable, "interrupted": KeyboardInterrupt, "signed out": NotPermitted}[trouble]
    take = registry.answers["POST", "runs"]
    with Session(server.url, TOKEN, patience_s=0.1) as session, pytest.raises(kind):
        upload_rows(session, read(path), stop_at_two, journal=journal)
    assert [outcome.outcome for outcome in heard] == ["accepted", "accepted"]

    registry.troubles, registry.answers["POST", "runs"] = [], take
    before = registry.count("POST", "runs")
    with Session(server.url, TOKEN) as session:
        found = upload_rows(session, read(path), journal=Journal(journal.path))
    assert [outcome.outcome for outcome in found] == ["same", "same", "accepted", "accepted"]
    assert registry.count("POST", "runs") - before == 2


def test_a_fault_that_is_not_about_the_row_stops_the_upload(session, sweep, registry):
    registry.troubles = [Trouble(status=500, body=b"<h1>oops</h1>", headers={"Content-Type": "text/html"})]
    with pytest.raises(Fault):
        upload_rows(session, read(sweep(b"1", b"2")))
    assert len(registry.asked) == 1


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"x" * (upload.LARGEST_TRACE_BYTES + 1), "too_large"), (b"", "empty_file")],
    ids=["too large", "empty"],
)
def test_what_no_server_would_take_is_refused_without_sending_it(session, sweep, registry, content, code):
    found = upload_rows(session, read(sweep(content, b"1")))
    assert [outcome.outcome for outcome in found] == ["refused", "accepted"]
    assert found[0].as_dict()["problem"]["code"] == code
    assert len(registry.asked) == 1


def test_a_file_that_vanished_meanwhile_is_refused_with_a_reason(session, sweep):
    path = sweep(b"1", b"2")
    rows = read(path)
    rows[0].file.unlink()
    found = upload_rows(session, rows)
    assert [outcome.outcome for outcome in found] == ["refused", "accepted"]
    assert found[0].problem.detail == "The file is not there."


@pytest.mark.parametrize(
    ("cell", "detail", "hint"),
    [
        ("traces/level_5.csv", "The file is not there.", "Did you mean level-5.csv?"),
        ("traces/gone.csv", "The file is not there.", "Check its name and its folder."),
        ("traces/level_6.csv", "The file is not there.", "Check its name and its folder."),
        ("traces", "The file is a folder, not a file.", "Check its name and its folder."),
        ("nowhere/1.csv", "The file is not there: there is no folder", ""),
        ("traces/1.csv/x", "The file is not there: there is no folder", ""),
    ],
)
def test_a_missing_file_is_a_refused_row_and_the_rest_goes_on(session, sweep, cell, detail, hint):
    path = sweep(b"1", b"2")
    (path.parent / "traces" / "level-5.csv").write_bytes(b"5")
    path.write_text(path.read_text().replace("traces/2.csv", cell))
    found = upload_rows(session, read(path))
    assert [outcome.outcome for outcome in found] == ["accepted", "refused"]
    assert found[1].problem.code == "missing_file"
    assert found[1].problem.detail.startswith(detail)
    assert found[1].problem.hint == hint


def test_a_file_that_may_not_be_read_is_refused_with_the_reason(session, sweep, monkeypatch):
    def refuse(path, *_):
        raise PermissionError(13, "Permission denied")

    rows = read(sweep(b"1"))
    monkeypatch.setattr("pathlib.Path.open", refuse)
    (outcome,) = upload_rows(session, rows)
    assert outcome.problem.detail == "The file cannot be read: Permission denied."


def test_one_file_at_a_time_is_in_memory(session, tmp_path, registry):
    registry.answers["POST", "runs"] = (201, {"id": 1, **measured()})
    registry.on_request = lambda asked: registry.asked.clear()
    big = tmp_path / "big.csv"
    big.write_bytes(b"x" * 2_000_000)
    rows = (Row(big, {"serial": str(number)}) for number in itertools.count())
    upload_rows(session, itertools.islice(rows, 2))
    tracemalloc.start()
    upload_rows(session, itertools.islice(rows, 20))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert peak < 20_000_000  # the client's file and body and the server's copy, not twenty of them


class TestJournal:
    """The file that remembers."""

    def test_it_is_private_and_apart_for_each_server_and_account(self, home):
        accounts = itertools.product(("http://a", "http://b"), ("t", "u", None))
        paths = {journal_path(server, token) for server, token in accounts}
        assert len(paths) == 6
        assert all(path.is_relative_to(home) for path in paths)
        assert not any(path.stem == "t" for path in paths)

    def test_a_torn_last_line_is_passed_over_and_not_written_onto(self, journal):
        journal.note("a", "p", Entry(1, "accepted"))
        journal.note("b", "p", Entry("2", "held"))
        journal.path.write_bytes(journal.path.read_bytes()[:-20])
        later = Journal(journal.path)
        assert later.find("a", "p") == Entry(1, "accepted")
        assert later.find("b", "p") is None
        later.note("c", "p", Entry(3, "accepted"))
        assert Journal(journal.path).find("c", "p") == Entry(3, "accepted")

    def test_foreign_lines_are_passed_over(self, journal):
        journal.path.parent.mkdir(parents=True)
        journal.path.write_bytes(b'[1]\n{}\nnull\n\xff\xfe\n{"trace": 1}\n')
        assert Journal(journal.path).trouble == ""

    def test_a_folder_that_cannot_be_written_fails_nothing(self, session, sweep, tmp_path):
        (tmp_path / "file").write_text("")
        journal = Journal(tmp_path / "file" / "journal.jsonl")
        assert outcomes(session, sweep(b"1"), journal=journal) == ["accepted"]
        assert "journal.jsonl" in journal.trouble

    def test_the_order_of_keys_does_not_matter(self):
        assert digest_of_provenance({"a": 1, "b": "é"}) == digest_of_provenance({"b": "é", "a": 1})
        assert digest_of_provenance({"a": 1}) != digest_of_provenance({"a": "1"})
