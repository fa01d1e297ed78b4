"""Exit codes, one test or more for each, and the one place that knows them."""

import os
import signal
import subprocess
import sys
import threading

import pytest
import typer

from client_cli import errors, main
from client_cli.exits import ExitCode, code_for
from tests.client_cli.documents import ALERTS, SERIALS
from tests.client_cli.server import Trouble, problem


def test_the_codes_never_change_their_meaning():
    assert {code.name: code.value for code in ExitCode} == {
        "DONE": 0,
        "FAULT": 1,
        "USAGE": 2,
        "REFUSED": 3,
        "NOT_PERMITTED": 4,
        "UNREACHABLE": 5,
        "OPEN_ALERTS": 6,
        "INTERRUPTED": 130,
    }


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (errors.WrongUse("x"), 2),
        (errors.NotPermitted("x"), 4),
        (errors.Refused("x"), 3),
        (errors.Unreachable("x"), 5),
        (errors.Fault("x"), 1),
        (errors.WrongVersion("x"), 1),
        (errors.ClientError("x"), 1),
        (KeyboardInterrupt(), 130),
        (typer.Abort(), 130),
        (typer.BadParameter("x"), 2),
        (ZeroDivisionError(), 1),
    ],
)
def test_every_error_has_its_code(error, code):
    assert code_for(error) == code


def test_every_error_of_the_client_is_mapped_by_its_own_kind():
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    own = [kind for kind in kinds if issubclass(kind, errors.ClientError) and kind is not errors.ClientError]
    assert len(own) == 6
    assert {code_for(kind("x")) for kind in own} == {1, 2, 3, 4, 5}


def test_0_done(vacuary, registry):
    registry.answers["GET", "serials"] = (200, SERIALS)
    assert vacuary("serial", "Pellomi", "LK000001").code == 0


def test_1_a_fault_of_the_server(vacuary, registry):
    registry.answers["GET", "serials"] = problem(500, "fault", "Something failed.")
    ran = vacuary("serial", "Pellomi", "LK000001")
    assert ran.code == 1
    assert "Something failed." in ran.err
    assert "abc123" in ran.err
    assert ran.out == ""


def test_1_a_fault_of_the_program_is_told_without_a_traceback_unless_asked(vacuary, registry, monkeypatch):
    def break_down(*args, **how):
        raise ZeroDivisionError("by nothing")

    monkeypatch.setattr("client_cli.session.Session.get", break_down)
    ran = vacuary("health")
    assert ran.code == 1
    assert "ZeroDivisionError: by nothing" in ran.err
    assert "Traceback" not in ran.err
    monkeypatch.setenv("VACUARY_DEBUG", "1")
    assert "Traceback" in vacuary("health").err


def test_1_a_client_that_is_too_old(vacuary, registry):
    registry.clients = ">=0.5,<1"
    ran = vacuary("health")
    assert ran.code == 1
    assert "too old" in ran.err


@pytest.mark.parametrize(
    "arguments",
    [
        ["nonsense"],
        ["serial"],
        ["serial", "Pellomi"],
        ["upload"],
        ["upload", "gone.csv"],
        ["runs", "--limit", "0"],
        ["runs", "--nonsense"],
        ["withdraw", "7"],
        ["--server", "nowhere", "health"],
        ["health", "--server", "nowhere"],
        ["gauge", "declare", "G1"],
    ],
)
def test_2_usage(vacuary, registry, arguments):
    ran = vacuary(*arguments)
    assert ran.code == 2
    assert ran.err.startswith("Error: ")
    assert "What to do: " in ran.err
    assert ran.out == ""
    assert registry.asked == []


@pytest.mark.parametrize(("content", "code"), [(b"1", 0), (b"held", 3), (b"bad", 3), (b"broken", 1)])
def test_3_when_some_is_held_or_refused(vacuary, sweep, content, code):
    assert vacuary("upload", sweep(b"fine", content)).code == code


def test_3_also_when_the_held_run_was_there_already(vacuary, sweep, registry):
    path = sweep(b"held")
    assert vacuary("upload", path).code == 3
    registry.answers["GET", "runs/1"] = (200, registry.runs[next(iter(registry.runs))])
    assert vacuary("upload", path).code == 3
    assert vacuary("upload", path, "--again").code == 3


def test_3_an_unknown_model_lists_the_nearest(vacuary, registry):
    registry.answers["GET", "serials"] = problem(
        422, "unknown_pump_model", "No pump model is called Pelomi.", "See the list.", nearest=["Pellomi"]
    )
    ran = vacuary("serial", "Pelomi", "LK000001")
    assert ran.code == 3
    assert "(unknown_pump_model)" in ran.err
    assert "Nearest names: Pellomi" in ran.err
    assert "What to do: See the list." in ran.err


@pytest.mark.parametrize("status", [401, 403])
def test_4_not_permitted(vacuary, registry, sweep, status):
    registry.answers["POST", "runs"] = problem(status, "not_permitted", "Not yours.", "Ask a curator.")
    ran = vacuary("upload", sweep(b"1", b"2"))
    assert ran.code == 4
    assert "Not yours." in ran.err
    assert ran.out == ""
    assert registry.count("POST", "runs") == 1


def test_4_a_token_that_is_not_known(vacuary):
    assert vacuary("runs", "--token", "another").code == 4


def test_5_unreachable(vacuary, registry):
    registry.troubles = [Trouble(cut="before")] * 10_000
    ran = vacuary("--patience", "0.1", "health")
    assert ran.code == 5
    assert "trying again" in ran.err.lower()
    assert "--patience" in ran.err


def test_5_during_an_upload_says_how_to_go_on(vacuary, registry, sweep):
    registry.troubles = [Trouble(), *[Trouble(status=503)] * 10_000]
    ran = vacuary("--patience", "0.1", "upload", sweep(b"1", b"2", b"3"), "--json")
    assert ran.code == 5
    assert ran.json["counts"]["accepted"] == 1
    assert ran.json["not_tried"] == 2
    assert "Stopped after 1 of 3" in ran.err


def test_6_open_alerts_only_when_asked_for(vacuary, registry):
    registry.answers["GET", "alerts"] = (200, ALERTS)
    assert vacuary("alerts").code == 0
    assert vacuary("alerts", "--fail-on-alert").code == 6
    over = [{**alert, "state": "settled"} for alert in ALERTS["results"]]
    registry.answers["GET", "alerts"] = (200, {"results": over, "next": None})
    assert vacuary("alerts", "--fail-on-alert").code == 0
    registry.answers["GET", "alerts"] = (200, {"results": [{**over[0], "state": "new"}], "next": None})
    assert vacuary("alerts", "--fail-on-alert").code == 6


def test_130_ctrl_c_during_an_upload_and_the_next_one_goes_on(vacuary, registry, sweep):
    path = sweep(b"1", b"2", b"3")
    main_thread = threading.main_thread().ident

    def press_ctrl_c(asked):
        if registry.count("POST", "runs") == 3:
            registry.on_request = None
            signal.pthread_kill(main_thread, signal.SIGINT)

    registry.on_request = press_ctrl_c
    ran = vacuary("upload", path, "--json")
    assert ran.code == 130
    assert "Run the same command again" in ran.err
    assert ran.err.count("Stopped") == 1
    assert ran.json["counts"]["accepted"] == 2
    again = vacuary("upload", path, "--json")
    assert again.code == 0
    assert [run["skipped"] for run in again.json["runs"]] == [True, True, False]


def test_130_ctrl_c_elsewhere(vacuary, registry):
    main_thread = threading.main_thread().ident
    registry.on_request = lambda asked: signal.pthread_kill(main_thread, signal.SIGINT)
    ran = vacuary("health")
    assert ran.code == 130
    assert "Stopped." in ran.err


def test_the_shell_gets_the_code(server, home):
    environment = {**os.environ, "VACUARY_SERVER": server.url, "VACUARY_TOKEN": "another"}
    code = "import sys; from client_cli.main import run; sys.exit(run())"
    for arguments, expected in ((["runs"], 4), (["health"], 0), (["nonsense"], 2)):
        ran = subprocess.run(
            [sys.executable, "-c", code, *arguments], env=environment, capture_output=True, check=False
        )
        assert ran.returncode == expected, ran.stderr


def test_run_gives_its_code_back(capsys):
    assert main.run(["--version"]) == 0
    assert main.run([]) == 0
