"""What `upload` shows before it stores, and what it costs a poor connection."""

import gzip
import json

import pytest

from client_cli.commands import looking
from client_cli.layout import look_of
from client_cli.manifest import Row
from tests.client_cli.server import Trouble, both_sides, measured, problem

NUMBERS = b"\n0,0;0,1\n0,1;0,4\n"


def asked(registry, *paths):
    return [request.path for request in registry.asked if request.path in paths]


@pytest.fixture
def on_a_terminal(monkeypatch):
    monkeypatch.setattr(looking, "_is_terminal", lambda: True)


def test_the_reading_of_each_form_is_shown_before_anything_is_stored(vacuary, registry, sweep):
    path = sweep(b"t;p" + NUMBERS, b"t;p" + NUMBERS + b"9,0;9,0\n", b"zeit;druck" + NUMBERS)
    ran = vacuary("upload", path)
    assert ran.code == 0
    assert asked(registry, "measure", "runs")[:2] == ["measure", "measure"]
    assert registry.count("POST", "measure") == 2
    assert "traces/1.csv (and 1 more of its form) is read as" in ran.err
    told = "column 'p (mmHg)', mmHg (header), vacuum is positive"
    assert ran.err.count(told) == 1  # the other form is read alike
    assert "50 samples/s" in ran.err
    assert "0.12 mmHg, open air in the trace" in ran.err
    assert "is read as" not in ran.out


def test_on_a_terminal_it_asks(vacuary, registry, sweep, on_a_terminal):
    path = sweep(b"1", b"2")
    for answer in ("n\n", "\n"):
        ran = vacuary("upload", path, stdin=answer)
        assert (ran.code, ran.out) == (130, "")
        assert "Store these 2 runs? [y/N]" in ran.err
        assert "Nothing was stored." in ran.err
    assert registry.count("POST", "runs") == 0
    assert vacuary("upload", path, stdin="y\n").code == 0
    assert registry.count("POST", "runs") == 2
    assert "Store" not in vacuary("upload", path).err  # nothing is new
    (path.parent / "traces" / "2.csv").write_bytes(b"3")
    assert "Store this run? [y/N]" in vacuary("upload", path).err


@pytest.mark.parametrize("option", ["--yes", "--json"])
def test_it_does_not_ask_who_said_yes_or_is_a_program(vacuary, registry, sweep, on_a_terminal, option):
    ran = vacuary("upload", sweep(b"1"), option)
    assert ran.code == 0
    assert "Store" not in ran.err
    assert registry.count("POST", "runs") == 1
    assert registry.count("POST", "measure") == (1 if option == "--yes" else 0)


def test_what_was_acknowledged_is_not_looked_at_again(vacuary, registry, sweep):
    path = sweep(b"a" + NUMBERS, b"b" + NUMBERS)
    assert vacuary("upload", path).code == 0
    registry.asked.clear()
    assert vacuary("upload", path).code == 0
    assert registry.count("POST", "measure") == 0
    (path.parent / "traces" / "2.csv").write_bytes(b"c" + NUMBERS)
    assert vacuary("upload", path).code == 0
    assert registry.count("POST", "measure") == 1


def test_many_forms_do_not_double_an_upload(vacuary, registry, sweep):
    contents = [b"note: " + chr(97 + n % 26).encode() * (1 + n // 26) + NUMBERS for n in range(120)]
    ran = vacuary("upload", sweep(*contents))
    assert registry.count("POST", "measure") == 6
    assert registry.count("POST", "runs") == 120
    assert "114 more forms" in ran.err


def test_a_reading_nobody_foresaw_is_shown_once_it_is_known(vacuary, registry, sweep):
    other = measured()
    other["read"] = {**other["read"], "vacuum_unit": "kPa"}
    registry.answers["POST", "measure"] = (200, other)
    ran = vacuary("upload", sweep(b"1", b"2"))
    before, after = ran.err.split("traces/1.csv is read as")
    assert "kPa" in before
    assert "mmHg (header)" in after
    assert ran.err.count("is read as") == 2


def test_a_long_reading_stays_within_the_width_of_the_terminal(vacuary, registry, sweep, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    other = measured()
    heading = "Vacuum of the first chamber behind the flange (mmHg)"
    other["read"] = {**other["read"], "vacuum_column": heading, "side": "right"}
    registry.answers["POST", "measure"] = (200, other)
    ran = vacuary("upload", sweep(b"1"))
    assert max(map(len, ran.err.splitlines())) <= 80
    assert f"column '{heading}', right side, mmHg" in " ".join(ran.err.split())
    assert "\n          " in ran.err


def test_what_will_be_refused_is_said(vacuary, registry, sweep):
    registry.answers["POST", "measure"] = problem(
        422, "unreadable_trace", "Nothing says the unit.", "Say it."
    )
    ran = vacuary("upload", sweep(b"bad"))
    assert ran.code == 3
    assert "traces/1.csv will be refused: Nothing says the unit. Say it." in ran.err


def test_a_file_of_both_sides_without_a_side_is_said_to_need_one(vacuary, registry, sweep):
    registry.answers["POST", "measure"] = (200, both_sides())
    ran = vacuary("upload", sweep(b"1"))
    assert "say side both" in ran.err
    assert "traces/1.csv (left) is read as" in ran.err
    assert "traces/1.csv (right) is read as" in ran.err


def test_a_server_out_of_reach_ends_it_before_anything_is_stored(vacuary, registry, sweep, monkeypatch):
    registry.troubles = [Trouble(cut="before")] * 10_000
    ran = vacuary("--patience", "0.05", "upload", sweep(b"1", b"2"))
    assert ran.code == 5
    assert "Stopped after 0 of 2" in ran.err
    assert registry.runs == {}


class TestSides:
    """A file of both sides is sent once for each."""

    def test_from_a_list(self, vacuary, registry, sweep):
        path = sweep(b"1", b"2")
        first, second, third = path.read_text().splitlines()
        path.write_text("\n".join([f"{first},side", f"{second},Both", f"{third},"]))
        ran = vacuary("upload", path, "--json")
        assert [(run["file"], run["line"], run.get("side")) for run in ran.json["runs"]] == [
            ("traces/1.csv", 2, "left"),
            ("traces/1.csv", 2, "right"),
            ("traces/2.csv", 3, None),
        ]
        said = [json.loads(request.form["provenance"]) for request in registry.asked]
        assert [one.get("side") for one in said] == ["left", "right", None]

    def test_one_column_cannot_be_named_for_both(self, vacuary, registry, sweep, trace):
        options = ("--pump-model", "Pellomi", "--serial", "LK1", "--mode", "expression", "--level", "5")
        ran = vacuary("upload", trace, *options, "--side", "both", "--vacuum-column", "CH1")
        assert (ran.code, ran.out) == (2, "")
        assert "vacuum_column names one column" in ran.err
        assert "each with its vacuum_column" in " ".join(ran.err.split())
        path = sweep(b"1", b"2")
        first, second, third = path.read_text().splitlines()
        path.write_text("\n".join([f"{first},side,vacuum_column", f"{second},,CH1", f"{third},both,CH1"]))
        ran = vacuary("upload", path)
        assert ran.code == 2
        assert "3" in ran.err
        assert "vacuum_column names one column" in " ".join(ran.err.split())
        assert registry.asked == []

    def test_a_file_of_one_side_is_said_to_be_no_file_of_both(self, vacuary, registry, sweep):
        path = sweep(b"1")
        one = {"side": "left", "column": "p (mmHg)", "unit": "mmHg"}
        head, row = path.read_text().splitlines()
        path.write_text(f"{head},side\n{row},both\n")
        for channels, told in (([one], True), ([one, {**one, "side": "right"}], False)):
            registry.answers["POST", "measure"] = (200, {**measured(), "channels": channels})
            ran = vacuary("upload", path, "--again")
            assert ("holds one side only: leave side empty" in " ".join(ran.err.split())) is told

    def test_each_goes_on_by_itself(self, vacuary, registry, trace):
        options = ("--pump-model", "Pellomi", "--serial", "LK1", "--mode", "expression", "--level", "5")
        arguments = ("upload", trace, *options, "--side", "both", "--json")
        assert vacuary(*arguments).json["counts"]["accepted"] == 2
        assert vacuary(*arguments).json["counts"]["same"] == 2
        assert registry.count("POST", "runs") == 2
        left, right = registry.runs.values()  # a server that began anew may give the ids the other way round
        left["side"], right["side"] = right["side"], left["side"]
        vacuary(*arguments)
        assert registry.count("POST", "runs") == 4

    def test_from_options(self, vacuary, registry, trace):
        options = ("--pump-model", "Pellomi", "--serial", "LK1", "--mode", "expression", "--level", "5")
        ran = vacuary("upload", trace, *options, "--side", "both")
        assert ran.code == 0
        assert len(registry.runs) == 2
        assert "(left)" in ran.out
        assert "(right)" in ran.out

    def test_measuring_shows_both_and_their_imbalance_in_words(self, vacuary, registry, trace):
        registry.answers["POST", "measure"] = (200, both_sides())
        ran = vacuary("measure", trace, "--side", "both")
        assert "provenance" not in registry.asked[0].form
        out = " ".join(ran.out.split())
        assert "left side: accepted" in out
        assert "right side: held" in out
        assert "cycle rate: no difference that can be told from none (0.010 ± 0.020 cycles/min)." in out
        assert "peak vacuum: the left side is weaker at its peaks by 21.0 ± 1.5 mmHg." in out
        assert "The right side pulls 0.5123 ± 0.0061 s after the left." in out


def test_parts_of_an_uncertainty_are_shown_where_asked_for(vacuary, registry, trace):
    assert "by part" not in vacuary("measure", trace).out
    ran = vacuary("measure", trace, "--parts")
    table = ran.out.split("by part")[1]
    row = next(line for line in table.splitlines() if line.startswith("peak_vacuum"))
    assert row.split() == ["peak_vacuum", "1.5", "0", "0.3"]
    assert vacuary("measure", trace, "--json").json["measurements"]["peak_vacuum"]["parts"] == {
        "scatter": 0.3133,
        "accuracy": 1.5416,
        "zero": 0.0133,
    }


KEPT = {
    "gauge": "G1",
    "unit": "kPa",
    "rate_hz": 50.0,
    "sign": None,
    "saved_by": "thyme",
    "saved_at": "2026-03-02T10:00:00Z",
}


class TestUsual:
    """How a gauge's files are read, kept."""

    def test_nothing_is_kept_of_a_held_trace(self, vacuary, registry, trace):
        registry.answers["POST", "measure"] = (200, measured("held"))
        ran = vacuary("measure", trace, "--keep-for", "G1")
        assert ran.code == 3
        assert "Nothing is kept for G1" in ran.err
        assert registry.count("PUT", "gauges/G1/reading") == 0

    def test_keeping_it_measures_with_that_gauge(self, vacuary, registry, trace):
        usual = {"unit": "kPa", "rate_hz": 50.0}
        registry.answers["POST", "measure"] = (200, {**measured(), "usual": usual})
        registry.answers["PUT", "gauges/G1/reading"] = (201, KEPT)
        ran = vacuary("measure", trace, "--unit", "kPa", "--rate-hz", "50", "--keep-for", "G1")
        assert ran.code == 0
        look, keep = registry.asked
        assert json.loads(look.form["provenance"]) == {"gauge": "G1", "unit": "kPa", "rate_hz": 50}
        assert keep.json == usual
        assert "Kept by thyme on 2026-03-02." in ran.out
        assert vacuary("measure", trace, "--keep-for", "G1", "--json").json["kept"] == KEPT

    def test_it_is_kept_of_one_file_only(self, vacuary, registry, trace):
        assert vacuary("measure", trace, trace, "--keep-for", "G1").code == 2
        assert registry.asked == []

    def test_it_can_be_looked_at_and_forgotten(self, vacuary, registry):
        registry.answers["GET", "gauges/G1/reading"] = (200, KEPT)
        registry.answers["DELETE", "gauges/G1/reading"] = (204, None)
        shown = vacuary("gauge", "reading", "G1")
        assert shown.code == 0
        assert "kPa" in shown.out
        assert "sign" not in shown.out
        assert vacuary("gauge", "reading", "G1", "--forget").code == 0
        assert registry.count("DELETE", "gauges/G1/reading") == 1


class TestForms:
    """Which files are taken to be alike."""

    def look(self, tmp_path, data, **said):
        path = tmp_path / "file"
        path.write_bytes(data)
        return look_of(Row(path, said))

    def test_figures_make_no_other_form(self, tmp_path):
        first = self.look(tmp_path, b"level 3\nt (s),p (kPa)\n0.00,-1.2\n0.01,3\n")
        assert self.look(tmp_path, b"level 14\nt (s),p (kPa)\n12.5,0.4\n9,9\n") == first

    @pytest.mark.parametrize(
        "data",
        [
            b"level 3\nt (s),p (mmHg)\n0.00,-1.2\n",
            b"level 3\nt (s);p (kPa)\n0.00;-1.2\n",
            b"level 3\nt (s),p (kPa)\n0,00;1,2\n",
            b"level 3\nt (ms),p (kPa)\n0.00,-1.2\n",
            b"",
        ],
    )
    def test_units_delimiters_and_decimals_do(self, tmp_path, data):
        first = self.look(tmp_path, b"level 3\nt (s),p (kPa)\n0.00,-1.2\n")
        assert self.look(tmp_path, data) != first

    def test_what_is_said_of_a_file_does(self, tmp_path):
        looks = {
            self.look(tmp_path, b"1\n", **said)
            for said in ({}, {"gauge": "G1"}, {"unit": "kPa"}, {"side": "left"})
        }
        assert len(looks) == 4
        assert self.look(tmp_path, b"1\n", level=3) == self.look(tmp_path, b"1\n", level=4)

    def test_packed_files_are_looked_into(self, tmp_path):
        packed = [gzip.compress(head + b"\n0,1\n") for head in (b"t,p (kPa)", b"t,p (kPa)", b"t,p (mmHg)")]
        first, second, third = (self.look(tmp_path, data) for data in packed)
        assert first == second != third
        assert self.look(tmp_path, b"\x1f\x8bbroken") == self.look(tmp_path, b"\x1f\x8bbroken")

    def test_a_file_that_is_not_there_has_a_form_too(self, tmp_path):
        assert look_of(Row(tmp_path / "none", {})) == look_of(Row(tmp_path / "other", {}))
