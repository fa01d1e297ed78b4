"""What each command sends, and that its answer is the server's document and nothing else on stdout."""

import csv
import io
import json

import pytest

from tests.client_cli import documents
from tests.client_cli.documents import ANSWERS, MODEL
from tests.client_cli.server import TOKEN, Trouble, measured, problem


@pytest.fixture
def filled(registry):
    """A registry that answers every question."""
    registry.answers.update({key: (200, answer) for key, answer in ANSWERS.items()})
    return registry


@pytest.fixture
def trace(tmp_path):
    path = tmp_path / "trace.csv"
    path.write_bytes(b"0;0")
    return path


@pytest.fixture
def catalogue(tmp_path):
    path = tmp_path / "catalogue.toml"
    path.write_text(
        '[[pump_model]]\nmaker = "Ostrevall"\nname = "Pellomi"\n'
        '[[pump_model.revision]]\nlabel = "A"\norder = 1\nseen = 2025-03-02\n'
    )
    return path


@pytest.mark.parametrize(
    ("arguments", "document"),
    [
        (["health"], {"status": "ok", "version": "0.1.0", "clients": ">=0.1,<1"}),
        (["measure", "TRACE"], measured()),
        (["serial", "Pellomi", "LK000001", "LK009999"], documents.SERIALS),
        (["distribution", "Pellomi"], documents.DISTRIBUTION),
        (["runs"], documents.RUNS),
        (["run", "7"], documents.RUN),
        (["withdraw", "7", "--reason", "leak"], {**documents.RUN, "state": "withdrawn"}),
        (["alerts"], documents.ALERTS),
        (["catalogue", "load", "CATALOGUE"], documents.CHANGES),
        (["catalogue", "show", "Pellomi"], MODEL),
        (["catalogue", "list"], {"results": [MODEL], "next": None}),
        (["gauge", "list"], {"results": [documents.GAUGE], "next": None}),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_json_prints_the_server_s_document_alone(vacuary, filled, trace, catalogue, arguments, document):
    files = {"TRACE": str(trace), "CATALOGUE": str(catalogue)}
    ran = vacuary(*(files.get(argument, argument) for argument in arguments), "--json")
    assert ran.json == document
    assert ran.err == ""
    before = vacuary("--json", *(files.get(argument, argument) for argument in arguments))
    assert before.json == document


def test_json_stays_json_while_the_server_is_asked_again(vacuary, filled):
    filled.troubles = [Trouble(status=503), Trouble(cut="midway")]
    ran = vacuary("runs", "--json")
    assert ran.json == documents.RUNS
    assert "Trying again" in ran.err


def test_serial_and_distribution_ask_with_the_words_of_the_contract(vacuary, filled):
    vacuary("serial", "Pellomi", "LK000001")
    vacuary("serial", "Pellomi", "LK000001", "LK000009")
    vacuary("distribution", "Pellomi", "--revision", "A", "--mode", "expression", "--level", "5")
    vacuary("distribution", "Pellomi", "--metric", "peak_vacuum", "--rig", documents.LONG_RIG)
    assert [asked.query for asked in filled.asked] == [
        {"model": "Pellomi", "first": "LK000001"},
        {"model": "Pellomi", "first": "LK000001", "last": "LK000009"},
        {"model": "Pellomi", "revision": "A", "mode": "expression", "level": "5"},
        {"model": "Pellomi", "metric": "peak_vacuum", "rig": documents.LONG_RIG},
    ]


def test_runs_ask_with_their_filters(vacuary, filled):
    vacuary("runs", "--model", "Pellomi", "--state", "held", "--mine", "--limit", "3")
    assert filled.asked[0].query == {"model": "Pellomi", "state": "held", "mine": "true", "page_size": "3"}


def test_a_gauge_is_declared_in_the_words_given(vacuary, filled):
    ran = vacuary(
        *("gauge", "declare", "G1", "--gauge-model", "bench logger", "--range", "-60..0 kPa"),
        *("--resolution", "0.1 kPa", "--accuracy", "1 % reading"),
        *("--calibration", "on=2026-02-01, offset=-0,3, gain=1.002, uncertainty=0.4, source=lab, sheet 2"),
        *("--calibration", "on=2026-03-01,uncertainty=0.4,source=lab"),
    )
    assert ran.code == 0
    assert filled.asked[0].json == {
        "gauge_model": "bench logger",
        "range": "-60..0 kPa",
        "resolution": "0.1 kPa",
        "accuracy": "1 % reading",
        "calibrations": [
            {
                "on": "2026-02-01",
                "offset": -0.3,
                "gain": 1.002,
                "uncertainty": 0.4,
                "source": "lab, sheet 2",
            },
            {"on": "2026-03-01", "uncertainty": 0.4, "source": "lab"},
        ],
    }


@pytest.mark.parametrize("text", ["", "yesterday", "on=", "bias=3"])
def test_a_calibration_that_is_not_understood_is_said_so(vacuary, filled, text):
    ran = vacuary(
        *("gauge", "declare", "G1", "--gauge-model", "x", "--range", "0..400 mmHg"),
        *("--resolution", "1 mmHg", "--accuracy", "2 mmHg", "--calibration", text),
    )
    assert ran.code == 2
    assert "--calibration" in ran.err
    assert filled.asked == []


def test_a_catalogue_goes_as_its_file_has_it(vacuary, filled, catalogue):
    vacuary("catalogue", "load", catalogue)
    assert filled.asked[0].json == {
        "pump_model": [
            {
                "maker": "Ostrevall",
                "name": "Pellomi",
                "revision": [{"label": "A", "order": 1, "seen": "2025-03-02"}],
            }
        ]
    }


@pytest.mark.parametrize(("text", "told"), [("[[pump_model]\n", "line 1"), ("a = 1\n", "[[pump_model]]")])
def test_a_catalogue_that_cannot_be_read_is_named(vacuary, filled, tmp_path, text, told):
    path = tmp_path / "broken.toml"
    path.write_text(text)
    ran = vacuary("catalogue", "load", path)
    assert ran.code == 2
    assert "broken.toml" in ran.err.replace("\n", "")
    assert told in ran.err
    assert filled.asked == []


def test_a_model_that_is_not_in_the_catalogue_is_answered_with_the_nearest(vacuary, filled):
    def pump_models(asked):
        names = ("Pellomi", "Tivanne")
        rows = [{"id": 1, "name": name} for name in names if asked.query.get("name", name) == name]
        return 200, {"results": rows, "next": None}

    filled.answers["GET", "pump-models"] = pump_models
    ran = vacuary("catalogue", "show", "Pelommi")
    assert ran.code == 3
    assert "Nearest names: Pellomi" in ran.err


def test_measure_needs_no_account_and_takes_provenance(vacuary, filled, trace, monkeypatch):
    monkeypatch.delenv("VACUARY_TOKEN")
    assert vacuary("measure", trace, "--zero-offset", "-0,4", "--gauge", "G1").code == 0
    assert "authorization" not in filled.asked[0].headers
    assert json.loads(filled.asked[0].form["provenance"]) == {"zero_offset": -0.4, "gauge": "G1"}
    vacuary("measure", trace)
    assert "provenance" not in filled.asked[1].form


def test_measure_of_several_goes_on_after_a_refusal(vacuary, filled, tmp_path):
    names = []
    for name, content in {"a.csv": b"1", "b.csv": b"bad", "c.csv": b"held"}.items():
        (tmp_path / name).write_bytes(content)
        names.append(tmp_path / name)
    filled.answers["POST", "measure"] = lambda asked: (
        problem(422, "unreadable_trace", "No numbers.")
        if asked.form["trace"] == b"bad"
        else (200, measured("held" if asked.form["trace"] == b"held" else "accepted"))
    )
    ran = vacuary("measure", *names, "--json")
    assert ran.code == 3
    assert [item["state"] for item in ran.json["results"]] == ["accepted", "refused", "held"]
    assert ran.json["results"][1]["problem"]["code"] == "unreadable_trace"
    assert "No numbers." in ran.err
    shown = vacuary("measure", *names)
    assert "refused" in shown.out


def test_withdraw_is_sent_once_with_its_reason(vacuary, filled):
    vacuary("withdraw", "7", "--reason", "leak at the valve")
    assert filled.asked[0].json == {"reason": "leak at the valve"}


class TestManifest:
    """Writing a list to fill in."""

    def test_on_stdout_it_is_only_the_list(self, vacuary, trace, monkeypatch):
        monkeypatch.chdir(trace.parent)
        ran = vacuary("manifest", "trace.csv")
        headings, row = csv.reader(io.StringIO(ran.out))
        assert headings[:2] == ["file", "pump_model"]
        assert row == ["trace.csv", *[""] * (len(headings) - 1)]
        assert ran.err == ""

    def test_in_a_file_spreadsheets_know_its_encoding(self, vacuary, trace, tmp_path):
        out = tmp_path / "list.csv"
        assert vacuary("manifest", trace, "-o", out).code == 0
        assert out.read_bytes().startswith(b"\xef\xbb\xbffile,")

    def test_what_somebody_typed_is_not_written_over(self, vacuary, trace, tmp_path):
        out = tmp_path / "list.csv"
        out.write_text("typed")
        ran = vacuary("manifest", trace, "-o", out)
        assert (ran.code, out.read_text()) == (2, "typed")
        assert "--force" in ran.err
        assert vacuary("manifest", trace, "-o", out, "--force").code == 0

    def test_json_says_what_was_written(self, vacuary, trace, tmp_path):
        ran = vacuary("manifest", trace, "-o", tmp_path / "list.csv", "--json")
        assert ran.json["files"] == ["trace.csv"]


class TestUpload:
    """From the command line to the server."""

    def test_json_lists_each_row_and_counts_them(self, vacuary, sweep):
        ran = vacuary("upload", sweep(b"1", b"held", b"bad"), "--json")
        assert ran.code == 3
        assert ran.json["counts"] == {"accepted": 1, "held": 1, "refused": 1, "same": 0, "failed": 0}
        first, second, third = ran.json["runs"]
        assert (first["file"], first["line"], first["outcome"], first["id"]) == (
            "traces/1.csv",
            2,
            "accepted",
            1,
        )
        assert second["findings"][0]["code"] == "leak"
        assert third["problem"]["code"] == "unreadable_trace"
        assert ran.err == ""

    def test_files_with_options_share_their_provenance(self, vacuary, registry, trace, tmp_path):
        other = tmp_path / "other.csv"
        other.write_bytes(b"1;1")
        options = ("--pump-model", "Pellomi", "--serial", "LK1", "--mode", "expression", "--level", "5")
        ran = vacuary("upload", trace, other, *options, "--flange-mm", "24", "--note", "[x] twice")
        assert ran.code == 0
        assert [json.loads(asked.form["provenance"]) for asked in registry.asked] == [
            {
                "pump_model": "Pellomi",
                "serial": "LK1",
                "mode": "expression",
                "level": 5,
                "flange_mm": 24,
                "note": "[x] twice",
            }
        ] * 2

    def test_a_trace_without_its_provenance_is_not_sent(self, vacuary, registry, trace):
        ran = vacuary("upload", trace, "--level", "5")
        assert ran.code == 2
        assert "--pump-model, --serial, --mode" in ran.err
        assert registry.asked == []

    def test_a_list_among_traces_is_not_guessed_at(self, vacuary, registry, sweep, trace):
        assert vacuary("upload", sweep(b"1"), trace).code == 2
        assert registry.asked == []

    def test_a_list_with_a_mistake_sends_nothing(self, vacuary, registry, sweep):
        path = sweep(b"1", b"2")
        path.write_text(path.read_text().replace("traces/2.csv", "traces/3.csv"))
        ran = vacuary("upload", path)
        assert ran.code == 2
        assert "line 3: the file traces/3.csv is not there" in ran.err
        assert registry.asked == []

    def test_a_dry_run_says_what_would_go_and_sends_nothing(self, vacuary, registry, sweep):
        path = sweep(b"1", b"2", b"")
        assert vacuary("upload", path).code == 3
        registry.asked.clear()
        (path.parent / "traces" / "2.csv").write_bytes(b"other")
        ran = vacuary("upload", path, "--dry-run", "--json")
        assert ran.code == 3
        assert [run["outcome"] for run in ran.json["runs"]] == ["skipped", "sent", "refused"]
        assert ran.json["runs"][1]["provenance"]["level"] == 2
        assert registry.asked == []
        assert "Nothing was sent" in vacuary("upload", path, "--dry-run").out

    def test_a_bar_and_remarks_go_to_a_terminal_s_stderr_only(self, vacuary, sweep, registry, monkeypatch):
        monkeypatch.setenv("FORCE_COLOR", "1")
        monkeypatch.setenv("TERM", "xterm")
        registry.troubles = [Trouble(), Trouble(status=503)]
        ran = vacuary("upload", sweep(b"1", b"2", b"3"), "--json")
        assert ran.json["counts"]["accepted"] == 3
        assert "Sending" in ran.err
        assert "3/3" in ran.err
        assert "Trying again" in ran.err

    def test_a_file_with_an_odd_name_is_sent(self, vacuary, sweep, registry):
        path = sweep(b"1")
        (path.parent / "traces" / "1.csv").rename(path.parent / "traces" / 'sp ace; é".csv')
        path.write_text(
            path.read_text().replace("traces/1.csv", '"traces/sp ace; é"".csv"'), encoding="utf-8"
        )
        assert vacuary("upload", path).code == 0
        assert registry.asked[0].form["trace"] == b"1"

    def test_a_journal_that_cannot_be_written_is_said_and_fails_nothing(self, vacuary, sweep, home):
        (home / "state").write_text("in the way")
        ran = vacuary("upload", sweep(b"1"))
        assert ran.code == 0
        assert "could not be noted" in ran.err


class TestConnect:
    """Remembering a server."""

    @pytest.fixture(autouse=True)
    def no_environment(self, vacuary, monkeypatch):
        for name in ("VACUARY_SERVER", "VACUARY_TOKEN"):
            monkeypatch.delenv(name)

    def test_the_token_comes_from_standard_input_and_is_used_afterwards(self, vacuary, server, registry):
        ran = vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        assert ran.code == 0
        assert TOKEN not in ran.out + ran.err
        registry.asked.clear()
        assert vacuary("runs").code == 0
        assert registry.asked[0].headers["authorization"] == f"Token {TOKEN}"

    def test_a_token_that_the_server_does_not_know_is_not_kept(self, vacuary, server, home):
        assert vacuary("connect", server.url, stdin="wrong\n").code == 4
        assert not list(home.rglob("config.toml"))

    def test_a_server_that_is_not_there_is_not_kept(self, vacuary, home):
        assert vacuary("--patience", "0", "connect", "http://127.0.0.1:9", stdin="x\n").code == 5
        assert not list(home.rglob("config.toml"))

    def test_without_a_token_questions_can_still_be_asked(self, vacuary, server, registry):
        ran = vacuary("connect", server.url, "--json", stdin="")
        assert ran.json["token"] is False
        vacuary("runs")
        assert "authorization" not in registry.asked[-1].headers

    def test_the_prompt_does_not_show_the_token(self, vacuary, server, monkeypatch):
        asked = []
        monkeypatch.setattr("client_cli.commands.connection._is_terminal", lambda: True)
        monkeypatch.setattr("getpass.getpass", lambda prompt: asked.append(prompt) or TOKEN)
        assert vacuary("connect", server.url).code == 0
        assert "Token" in asked[0]

    def test_a_bad_configuration_is_named_and_connect_mends_it(self, vacuary, server, home):
        vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        (path,) = home.rglob("config.toml")
        path.write_text("nonsense")
        ran = vacuary("runs")
        assert ran.code == 2
        assert str(path) in ran.err.replace("\n", "")
        assert vacuary("connect", server.url, stdin=f"{TOKEN}\n").code == 0
        assert vacuary("runs").code == 0

    def test_a_token_that_others_can_read_is_pointed_out(self, vacuary, server, home):
        vacuary("connect", server.url, stdin=f"{TOKEN}\n")
        (path,) = home.rglob("config.toml")
        path.chmod(0o644)
        ran = vacuary("runs")
        assert ran.code == 0
        assert "chmod 600" in ran.err


def test_options_go_before_the_environment_wherever_they_stand(vacuary, registry, server, monkeypatch):
    monkeypatch.setenv("VACUARY_SERVER", "http://127.0.0.1:9")
    monkeypatch.setenv("VACUARY_TOKEN", "another")
    for arguments in (
        ["--server", server.url, "--token", TOKEN, "runs"],
        ["runs", "--server", server.url, "--token", TOKEN],
        ["--server", "http://127.0.0.1:9", "runs", "--server", server.url, "--token", TOKEN],
    ):
        assert vacuary(*arguments).code == 0
    assert {asked.headers["authorization"] for asked in registry.asked} == {f"Token {TOKEN}"}
