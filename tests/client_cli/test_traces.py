"""Traces on their way: measure, manifest and upload from the command line."""

import csv
import io
import json

from tests.client_cli.server import Trouble, measured, problem


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
        sent = [asked for asked in registry.asked if asked.path == "runs"]
        assert [json.loads(asked.form["provenance"]) for asked in sent] == [
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
        path.write_text(path.read_text().replace("expression,2", "expression,"))
        ran = vacuary("upload", path)
        assert ran.code == 2
        assert "line 3: level is empty" in ran.err
        assert registry.asked == []

    def test_a_missing_file_is_a_refused_row_and_the_others_are_sent(self, vacuary, registry, sweep):
        path = sweep(b"1", b"2")
        path.write_text(path.read_text().replace("traces/2.csv", "traces/gone.csv"))
        rehearsed = vacuary("upload", path, "--dry-run")
        assert rehearsed.code == 3
        assert "The file is not there." in rehearsed.out
        ran = vacuary("upload", path)
        assert ran.code == 3
        assert "1 accepted, 1 refused." in ran.out
        assert "The file is not there." in ran.out
        assert registry.count("POST", "runs") == 1

    def test_a_withdrawn_run_is_said_to_be_withdrawn(self, vacuary, registry, sweep):
        path = sweep(b"1")
        assert vacuary("upload", path).code == 0
        (run,) = registry.runs.values()
        run["state"] = "withdrawn"
        ran = vacuary("upload", path)
        assert ran.code == 3
        assert "(withdrawn)" in ran.out
        assert "does not count in answers" in " ".join(ran.out.split())
        assert registry.count("POST", "runs") == 1

    def test_a_server_that_lost_its_runs_gets_them_again(self, vacuary, registry, sweep):
        path = sweep(b"1", b"2")
        assert vacuary("upload", path).code == 0
        registry.runs.clear()
        ran = vacuary("upload", path)
        assert "2 accepted." in ran.out
        assert len(registry.runs) == 2

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
