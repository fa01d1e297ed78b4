"""Lists as spreadsheets save them, and what is said of lists that cannot be sent."""

import csv
import io

import pytest

from client_cli import manifest
from client_cli.errors import WrongUse
from client_cli.manifest import ManifestError
from client_cli.provenance import NAMES

PLAIN = "file,pump_model,serial,mode,level,note\n1.csv,Pellomi,LK000123,expression,5,zeroed – 0,3 é\n"


@pytest.fixture
def folder(tmp_path):
    for name in ("1.csv", "2.csv"):
        (tmp_path / name).write_bytes(b"0;0")
    return tmp_path


def read(folder, content, defaults=None):
    path = folder / "list.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return manifest.read(path, defaults)


def problems(folder, content):
    with pytest.raises(ManifestError) as raised:
        read(folder, content)
    return [(problem.line, problem.message) for problem in raised.value.problems]


def test_a_plain_list(folder):
    (row,) = read(folder, PLAIN.replace("0,3", "0.3"))
    assert row.file == folder / "1.csv"
    assert (row.line, row.name) == (2, "1.csv")
    assert row.provenance == {
        "pump_model": "Pellomi",
        "serial": "LK000123",
        "mode": "expression",
        "level": 5,
        "note": "zeroed – 0.3 é",
    }


@pytest.mark.parametrize("delimiter", [";", "\t", ","])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_every_way_a_spreadsheet_saves_it(folder, delimiter, encoding, newline):
    out = io.StringIO()
    rows = [
        ["file", "pump_model", "serial", "mode", "level", "flange_mm", "note"],
        ["1.csv", "Pellomi", "LK000123", "expression", "5", "24,5", "né – zeroed"],
        ["", "", "", "", "", "", ""],
        ["2.csv", "Pellomi", "LK000123", "expression", "6", "24,5", 'said "so"; twice, at 9'],
    ]
    csv.writer(out, delimiter=delimiter, lineterminator=newline).writerows(rows)
    first, second = read(folder, out.getvalue().encode(encoding))
    assert first.provenance["flange_mm"] == 24.5
    assert first.provenance["note"] == "né – zeroed"
    assert second.provenance["note"] == 'said "so"; twice, at 9'
    assert (first.line, second.line) == (2, 4)


def test_what_cp1252_does_not_know_is_latin_1(folder):
    (row,) = read(folder, PLAIN.replace("0,3", "").replace("–", "\x81").encode("latin-1"))
    assert row.provenance["note"] == "zeroed \x81  é"


def test_a_line_naming_the_delimiter_is_no_heading(folder):
    (row,) = read(folder, "sep=;\nfile;pump_model;serial;mode;level\n1.csv;Pellomi;LK1;expression;5\n")
    assert row.line == 3


def test_headings_may_have_blanks_capitals_and_empty_columns(folder):
    (row,) = read(folder, "\nFile,Pump model,SERIAL,Mode,Level,,\n1.csv,Pellomi,LK1,expression,5,,\n")
    assert row.provenance["pump_model"] == "Pellomi"


def test_options_fill_empty_cells_only(folder):
    rows = "1.csv,Pellomi,LK1,expression,5,\n2.csv,Pellomi,LK1,,6,G2\n"
    options = {"gauge": "G1", "mode": "stimulation", "operator": "wren", "note": None}
    first, second = read(folder, f"file,pump_model,serial,mode,level,gauge\n{rows}", options)
    assert (first.provenance["gauge"], second.provenance["gauge"]) == ("G1", "G2")
    assert (first.provenance["mode"], second.provenance["mode"]) == ("expression", "stimulation")
    assert first.provenance["operator"] == "wren"
    assert "note" not in first.provenance


def test_files_lie_beside_the_list_and_not_where_the_command_runs(folder, tmp_path, monkeypatch):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    (row,) = read(folder, PLAIN.replace("0,3", ""))
    assert row.file.is_file()


def test_every_problem_is_listed_with_its_line(folder):
    text = (
        "file,pump_model,serial,mode,level\n"
        "1.csv,Pellomi,LK1,expression,5\n"
        "gone.csv,Pellomi,LK1,expression,5\n"
        "\n"
        ",Pellomi,,expression,5\n"
        "1.csv,Pellomi,LK1,expression,5,too,many\n"
        ".,Pellomi,LK1,expression,\n"
    )
    assert problems(folder, text) == [
        (5, "file is empty"),
        (5, "serial is empty"),
        (6, "there are more cells than headings"),
        (7, "level is empty"),
    ]


def test_an_unknown_column_is_named_with_the_nearest_key_once(folder):
    rows = "1.csv,Pellomi,LK1,expression,5\ngone.csv,Pellomi,LK1,expression,5\n"
    assert problems(folder, f"file,pump_modle,serial,mode,level\n{rows}") == [
        (1, "unknown column pump_modle; did you mean pump_model?"),
    ]


def test_a_column_about_a_client_is_refused_with_the_list_of_columns(folder):
    ((line, message),) = problems(folder, PLAIN.replace(",note", ",patient").replace("0,3", ""))
    assert (line, message[:22]) == (1, "unknown column patient")
    assert all(name in message for name in NAMES)


def test_a_file_that_is_not_there_stops_no_other(folder):
    rows = "gone.csv,Pellomi,LK1,expression,5\n1.csv,Pellomi,LK1,expression,6\n"
    text = f"file,pump_model,serial,mode,level\n{rows}"
    assert [(row.line, row.file.name) for row in read(folder, text)] == [(2, "gone.csv"), (3, "1.csv")]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "it is empty"),
        ("\n \n;;\n", "it is empty"),
        ("file,pump_model,serial,mode,level\n", "there are no rows below the headings"),
        ("serial,mode,level\nLK1,expression,5\n", "the column file is missing"),
        ("file,serial,serial\n1.csv,a,b\n", "the column serial is there twice"),
        ('file,note\n1.csv,"never closed\n', "quotation marks"),
    ],
)
def test_lists_that_are_no_lists(folder, text, message):
    assert any(message in told for _, told in problems(folder, text))


def test_a_list_that_is_not_there(folder):
    with pytest.raises(WrongUse, match=r"none\.csv"):
        manifest.read(folder / "none.csv")


def test_a_list_is_told_from_a_trace_by_its_headings(folder):
    listed = folder / "list.csv"
    for text in (PLAIN, PLAIN.replace(",", ";"), "\n" + PLAIN):
        listed.write_text(text)
        assert manifest.is_manifest(listed)
    for trace in ("time;vacuum\n0;0\n", "0,0\n", "", 'profile "x\nfile\n', "\x00\x01\x02"):
        listed.write_text(trace)
        assert not manifest.is_manifest(listed)


def test_a_template_is_read_back_once_it_is_filled_in(folder):
    headings, *rows = manifest.template([folder / "1.csv", folder / "2.csv"], folder)
    assert headings == ["file", *NAMES]
    assert rows == [["1.csv", *[""] * len(NAMES)], ["2.csv", *[""] * len(NAMES)]]
    filled = [dict(zip(headings, row, strict=True)) for row in rows]
    out = io.StringIO()
    writer = csv.DictWriter(out, headings)
    writer.writeheader()
    for row in filled:
        writer.writerow({**row, "pump_model": "Pellomi", "serial": "LK1", "mode": "expression", "level": "1"})
    assert len(read(folder, out.getvalue())) == 2


def test_a_template_names_files_elsewhere_in_full(folder, tmp_path_factory):
    other = tmp_path_factory.mktemp("other") / "3.csv"
    other.write_bytes(b"0")
    assert manifest.template([other], folder)[1][0] == str(other.resolve())
