"""`identify`: what one call sends, how the answer looks, and the dialogue on a terminal."""

import json
import os
import pty
import subprocess
import sys

import pytest

from client_cli.commands import identifying
from client_cli.render.identified import odds, show_identified
from tests.client_cli.identified import IDENTIFIED, asks_in_turn, piece
from tests.client_cli.server import TOKEN, problem
from tests.client_cli.test_rendering import fits, seen, words

WHERE = ("POST", "identifications")


@pytest.fixture
def answering(registry):
    registry.answers[WHERE] = (200, IDENTIFIED)
    return registry


@pytest.fixture
def asking(registry, monkeypatch):
    """A registry that asks in turn, and somebody at the terminal."""
    registry.answers[WHERE] = asks_in_turn
    monkeypatch.setattr(identifying, "is_terminal", lambda: True)
    return registry


def question_in(asked):
    return json.loads(asked.form["question"])


def test_what_is_known_goes_in_one_call(vacuary, answering):
    ran = vacuary(
        "identify", "Pellomi", "--serial", "KV000123", "--mark", "housing=amber", "--mark", "domed membrane",
        "--firmware", "1.1", "--purchased", "2025-03-02",
    )  # fmt: skip
    assert ran.code == 0
    (asked,) = answering.asked
    assert asked.json == {
        "model": "Pellomi",
        "serial": "KV000123",
        "firmware": "1.1",
        "purchased": "2025-03-02",
        "marks": ["housing=amber", "domed membrane"],
    }
    assert "probably revision B (91 in 100)" in ran.out
    assert ran.err == ""


def test_traces_go_with_what_is_said_of_each(vacuary, answering, tmp_path):
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_bytes(b"0;0")
    second.write_bytes(b"1;1")
    ran = vacuary(
        "identify", "Pellomi", "--trace", first, "--level", "3", "--trace", second, "--level", "5",
        "--mode", "expression", "--gauge", "G1", "--protector", "flat membrane", "--flange-mm", "24",
    )  # fmt: skip
    assert ran.code == 0
    shared = {"gauge": "G1", "protector": "flat membrane", "flange_mm": 24, "mode": "expression"}
    assert question_in(answering.asked[0]) == {
        "model": "Pellomi",
        "traces": [{**shared, "level": 3}, {**shared, "level": 5}],
    }
    assert answering.asked[0].body.index(b"0;0") < answering.asked[0].body.index(b"1;1")


@pytest.mark.parametrize(
    "options",
    [
        ["--level", "3"],
        ["--gauge", "G1"],
        ["--trace", "FILE", "--mode", "expression"],
        [*["--trace", "FILE"] * 3, "--level", "3", "--level", "4", "--mode", "expression"],
        ["--trace", "nowhere.csv", "--mode", "expression", "--level", "3"],
    ],
)  # fmt: skip
def test_what_does_not_go_together_is_wrong_use(vacuary, answering, trace, options):
    ran = vacuary("identify", "Pellomi", *(str(trace) if one == "FILE" else one for one in options))
    assert ran.code == 2
    assert answering.asked == []


def test_json_is_the_document_alone_and_never_a_dialogue(vacuary, asking):
    ran = vacuary("identify", "Pellomi", "--json", stdin="n\n")
    assert ran.json["named"] == "B"
    assert ran.err == ""
    assert len(asking.asked) == 1


def test_without_a_terminal_there_is_no_dialogue(vacuary, answering):
    ran = vacuary("identify", "Pellomi", stdin="domed\n")
    assert ran.code == 0
    assert len(answering.asked) == 1
    assert "Enter passes" not in ran.err


def test_a_held_trace_ends_with_its_code_and_a_refusal_with_its_own(vacuary, registry, trace):
    held = [piece("trace", "t", "held, so it does not count: leak", "says nothing", state="held")]
    registry.answers[WHERE] = (200, {**IDENTIFIED, "evidence": held})
    said = ["identify", "Pellomi", "--trace", trace, "--mode", "expression", "--level", "3"]
    assert vacuary(*said).code == 3
    registry.answers[WHERE] = problem(422, "unreadable_trace", "trace.csv: no numbers", "Export it again.")
    ran = vacuary(*said)
    assert (ran.code, ran.out) == (3, "")
    assert "trace.csv: no numbers" in ran.err


def test_the_dialogue_asks_one_question_at_a_time(vacuary, asking):
    ran = vacuary("identify", "Pellomi", stdin="\ndomed\nKV007000\n")
    assert ran.code == 0
    sent = [asked.json for asked in asking.asked]
    assert sent[:4] == [
        {"model": "Pellomi"},
        {"model": "Pellomi", "skip": ["setting"]},
        {"model": "Pellomi", "marks": ["membrane=domed"], "skip": ["setting"]},
        {"model": "Pellomi", "serial": "KV007000", "marks": ["membrane=domed"], "skip": ["setting"]},
    ]
    assert "skip" not in sent[4]  # what was passed over is told again at the end
    for told in (
        "What is the membrane like: flat or domed?",
        "membrane is domed: speaks for revision B over revision A.",
        "Now: revision B 91 in 100, revision A 8 in 100, none of these less than 1 in 100.",
        "What is the serial on its label?",
    ):
        assert words(told) in words(ran.err)
    assert "Pellomi: probably revision B" in ran.out
    assert "What is the serial" not in ran.out


def test_a_mark_that_is_not_understood_is_asked_again(vacuary, asking):
    ran = vacuary("identify", "Pellomi", stdin="?\nblue\ndomed\nq\n")
    assert ran.err.count("What is the membrane like") == 2
    assert "'blue' is none of flat, domed: says nothing." in ran.err
    assert words("membrane is domed: speaks for revision B") in words(ran.err)
    assert asking.asked[-1].json.get("marks") == ["membrane=domed"]


def test_a_serial_that_is_not_read_is_asked_again(vacuary, asking):
    ran = vacuary("identify", "Pellomi", stdin="\ndomed\nx\nKV007000\n")
    assert ran.err.count("What is the serial on its label?") == 2
    assert "'x' is not read. Check it: says nothing." in ran.err
    assert words("lies in a declared span of revision B: speaks for revision B") in words(ran.err)
    assert asking.asked[-1].json["serial"] == "KV007000"


def test_a_run_may_be_given_in_the_dialogue(vacuary, asking, trace):
    ran = vacuary("identify", "Pellomi", stdin=f"nowhere.csv\n\n{trace}\nG1\nq\n")
    assert ran.code == 0
    assert "nowhere.csv" in ran.err
    said = question_in(asking.asked[1])["traces"]
    assert said == [{"mode": "expression", "level": "3", "power": "mains", "gauge": "G1"}]


@pytest.mark.parametrize("ending", ["q\n", ""])
def test_it_may_be_ended_at_any_question(vacuary, asking, ending):
    ran = vacuary("identify", "Pellomi", stdin=ending)
    assert ran.code == 0
    assert len(asking.asked) == 1
    assert "probably revision B" in ran.out


def test_through_a_terminal(server, registry, home):
    registry.answers[WHERE] = asks_in_turn
    ours, theirs = pty.openpty()
    environment = {
        **os.environ,
        "VACUARY_SERVER": server.url,
        "VACUARY_TOKEN": TOKEN,
        "HOME": str(home),
        "COLUMNS": "80",
        "TERM": "dumb",
    }
    line = [
        sys.executable,
        "-c",
        "import sys; from client_cli.main import run; sys.exit(run(['identify', 'Pellomi']))",
    ]
    with subprocess.Popen(line, stdin=theirs, stdout=subprocess.PIPE, stderr=theirs, env=environment) as ran:
        os.close(theirs)
        heard = b""
        for question, said in ((b"Its file", b"\n"), (b"flat or domed?", b"domed\n"), (b"its label?", b"\n")):
            while question not in heard:
                heard += os.read(ours, 4096)
            heard = b""
            os.write(ours, said)
        printed, _ = ran.communicate(timeout=30)
    os.close(ours)
    assert ran.returncode == 0
    assert b"Pellomi: probably revision B (91 in 100)" in printed


@pytest.mark.parametrize("width", [80, 120])
def test_the_answer_fits_a_terminal_and_nothing_is_lost(width):
    text = fits(seen(show_identified, IDENTIFIED, width=width), width)
    assert text.startswith("Pellomi: probably revision B (91 in 100).")
    for told in ("yellow-ish", "MR000123", "a_long_name", "66.2 (A 74.3, B"):
        assert words(told) in words(text)
    assert "speaks very" in text
    assert "none of these" in text
    assert "Caution: Never open" in text
    assert "91 in 100" in odds(IDENTIFIED)
