"""Exports: proven by their digest, whole or not there, and gone on with where a line was cut."""

import base64
import hashlib
import os
import re
from pathlib import Path

import pytest

from client_cli import export as fetching
from tests.client_cli.server import Trouble, problem

TABLE = b"run,value\r\n" + b"".join(b"%d,0.5\r\n" % n for n in range(40_000))
DICTIONARY = b"kind,name\r\ncolumn,run\r\n"


def headers(content: bytes, **changes: str) -> dict[str, str]:
    digest = hashlib.sha256(content).digest()
    return {
        "Content-Type": "text/csv; charset=utf-8; header=present",
        "ETag": f'"{digest.hex()}"',
        "Repr-Digest": f"sha-256=:{base64.b64encode(digest).decode()}:",
        "Vacuary-Rows": "40000",
        "Vacuary-Edition": "1",
        "Vacuary-As-Of": "2026-01-05T09:00:00+00:00",
        **changes,
    }


class Shelf:
    """What the registry serves as exports; `ranges` keeps what was asked to go on from."""

    def __init__(self) -> None:
        self.content = TABLE
        self.ranges: list[str] = []
        self.goes_on = True

    def serve(self, asked):
        wanted = re.fullmatch("bytes=([0-9]+)-", asked.headers.get("range", ""))
        self.ranges.append(asked.headers.get("range", ""))
        told = headers(self.content)
        if self.goes_on and wanted and asked.headers.get("if-range") == told["ETag"]:
            start = int(wanted[1])
            told["Content-Range"] = f"bytes {start}-{len(self.content) - 1}/{len(self.content)}"
            return 206, self.content[start:], told
        return 200, self.content, told


@pytest.fixture
def shelf(registry):
    held = Shelf()
    registry.answers["GET", "exports"] = held.serve
    registry.answers["GET", "exports/dictionary"] = (200, DICTIONARY, headers(DICTIONARY))
    return held


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch) -> Path:
    """Work in a folder of the test's own."""
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    return folder


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_table_is_written_with_its_dictionary_and_its_digest_is_told(vacuary, shelf, here):
    ran = vacuary("export", "Pellomi One", "--json")
    assert ran.code == 0
    assert ran.err == ""
    assert ran.json == {
        "file": "pellomi-one-measurements.csv",
        "rows": 40000,
        "digest": hashlib.sha256(TABLE).hexdigest(),
        "edition": 1,
        "as_of": "2026-01-05T09:00:00+00:00",
        "bytes": len(TABLE),
        "dictionary": "pellomi-one-measurements.dictionary.csv",
    }
    assert names(here) == ["pellomi-one-measurements.csv", "pellomi-one-measurements.dictionary.csv"]
    assert (here / "pellomi-one-measurements.csv").read_bytes() == TABLE
    assert (here / "pellomi-one-measurements.dictionary.csv").read_bytes() == DICTIONARY


def test_people_are_told_rows_edition_and_digest(vacuary, shelf):
    ran = vacuary("export", "Pellomi", "-o", "out.csv")
    one_line = " ".join(ran.out.split())
    assert "out.csv: 40000 rows, edition 1, as of 2026-01-05T09:00:00+00:00." in one_line
    assert hashlib.sha256(TABLE).hexdigest() in ran.out


@pytest.mark.parametrize(("rows", "told"), [("1", "out.csv: 1 row, "), ("0", "Nothing fits what was asked")])
def test_a_table_of_one_row_or_none_is_told_as_such(vacuary, registry, rows, told):
    registry.answers["GET", "exports"] = (200, TABLE, headers(TABLE, **{"Vacuary-Rows": rows}))
    registry.answers["GET", "exports/dictionary"] = (200, DICTIONARY, headers(DICTIONARY))
    ran = vacuary("export", "Pellomi", "-o", "out.csv")
    assert ran.code == 0
    assert told in " ".join(ran.out.split())


def test_parquet_comes_alone_since_it_carries_its_dictionary(vacuary, shelf, registry, here):
    ran = vacuary("export", "Pellomi", "--format", "parquet", "--of", "distributions", "--json")
    assert ran.json["dictionary"] is None
    assert names(here) == ["pellomi-distributions.parquet"]
    assert registry.count("GET", "exports/dictionary") == 0


def test_what_is_asked_goes_to_the_server_in_its_words(vacuary, shelf, registry):
    vacuary(
        *("export", "Pellomi", "-o", "o.csv", "--revision", "A", "--mode", "expression", "--level", "5"),
        *("--metric", "peak_vacuum", "--rig", "24 mm", "--where", "state=any", "--where", "clinic = harbour"),
        *("--elevation", "high", "--bom"),
    )
    assert registry.asked[0].query == {
        "model": "Pellomi",
        "of": "measurements",
        "format": "csv",
        "bom": "true",
        "revision": "A",
        "mode": "expression",
        "level": "5",
        "metric": "peak_vacuum",
        "rig": "24 mm",
        "elevation": "high",
        "state": "any",
        "clinic": "harbour",
    }
    assert registry.asked[0].headers["accept-encoding"] == "identity"
    assert registry.asked[1].query == {"of": "measurements", "format": "csv", "edition": "1", "bom": "true"}


def test_stdout_gets_the_proven_bytes_and_nothing_else(vacuary, shelf, here, monkeypatch, tmp_path):
    with (tmp_path / "stdout").open("w+") as stdout:
        monkeypatch.setattr(fetching.sys, "stdout", stdout)
        ran = vacuary("export", "Pellomi", "--output", "-")
    assert ran.code == 0
    assert (tmp_path / "stdout").read_bytes() == TABLE
    assert hashlib.sha256(TABLE).hexdigest() in "".join(ran.err.split())
    assert names(here) == []


def test_stdout_is_for_one_thing(vacuary, shelf):
    assert vacuary("export", "Pellomi", "-o", "-", "--json").code == 2


def test_a_cut_line_goes_on_where_it_stopped(vacuary, shelf, registry, here):
    registry.troubles = [Trouble(cut="midway"), Trouble(cut="midway"), Trouble(cut="before")]
    ran = vacuary("export", "Pellomi", "-o", "out.csv", "--json")
    assert ran.code == 0
    assert (here / "out.csv").read_bytes() == TABLE
    first, second, third = shelf.ranges
    assert first == ""
    assert 0 < int(second[6:-1]) < int(third[6:-1]) < len(TABLE)


def test_it_begins_anew_where_the_table_has_changed_meanwhile(vacuary, shelf, registry, here):
    registry.troubles = [Trouble(cut="midway")]

    def change(_):
        if shelf.ranges:
            shelf.content = TABLE[: len(TABLE) // 2] + b"9,9\r\n"

    registry.on_request = change
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 0
    assert (here / "out.csv").read_bytes() == shelf.content != TABLE


def test_it_begins_anew_where_the_server_cannot_go_on(vacuary, shelf, registry, here):
    shelf.goes_on = False
    registry.troubles = [Trouble(cut="midway")]
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 0
    assert (here / "out.csv").read_bytes() == TABLE


def test_another_part_than_was_asked_for_is_not_put_together(vacuary, shelf, registry, here):
    wrong = {**headers(TABLE), "Content-Range": f"bytes 3-{len(TABLE) - 1}/{len(TABLE)}"}
    registry.troubles = [Trouble(cut="midway"), Trouble(status=206, body=TABLE[3:], headers=wrong)]
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 0
    assert (here / "out.csv").read_bytes() == TABLE


def test_a_damaged_file_is_fetched_again(vacuary, shelf, registry, here):
    damaged = TABLE.replace(b"5", b"6", 1)
    registry.troubles = [Trouble(status=200, body=damaged, headers=headers(TABLE))]
    ran = vacuary("export", "Pellomi", "-o", "out.csv")
    assert ran.code == 0
    assert "damaged" in ran.err
    assert (here / "out.csv").read_bytes() == TABLE


@pytest.mark.parametrize(
    ("reply", "code"),
    [
        ((200, TABLE, headers(TABLE, **{"Repr-Digest": ""})), 1),
        (problem(422, "invalid", "Unknown query parameter: charm"), 3),
        (problem(403, "not_permitted"), 4),
        (problem(413, "too_large", "Too many rows"), 3),
        (problem(500, "fault"), 1),
    ],
    ids=["no digest", "invalid", "not permitted", "too large", "fault"],
)
def test_what_fails_leaves_nothing_behind(vacuary, shelf, registry, here, reply, code):
    registry.answers["GET", "exports"] = reply
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == code
    assert names(here) == []


def test_a_server_that_never_gives_the_whole_ends_as_unreachable(vacuary, shelf, registry, here, monkeypatch):
    monkeypatch.setenv("VACUARY_PATIENCE", "0")
    registry.troubles = [Trouble(cut="before")]
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 5
    assert names(here) == []


def test_patience_begins_anew_as_long_as_more_arrives(vacuary, shelf, registry, here, monkeypatch):
    monkeypatch.setenv("VACUARY_PATIENCE", "0")
    registry.troubles = [Trouble(cut="midway")] * 3
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 0
    assert (here / "out.csv").read_bytes() == TABLE


def test_a_table_does_not_appear_without_its_dictionary(vacuary, shelf, registry, here):
    registry.answers["GET", "exports/dictionary"] = problem(500, "fault")
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 1
    assert names(here) == []


def test_stopped_by_hand_it_leaves_nothing_behind(vacuary, shelf, here, monkeypatch):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(fetching.Incoming, "_prove", stop)
    assert vacuary("export", "Pellomi", "-o", "out.csv").code == 130
    assert names(here) == []


@pytest.mark.parametrize("taken", ["out.csv", "out.dictionary.csv"])
def test_what_is_there_is_written_over_only_by_force(vacuary, shelf, here, taken):
    (here / taken).write_text("mine")
    ran = vacuary("export", "Pellomi", "-o", "out.csv")
    assert ran.code == 2
    assert "--force" in ran.err
    assert {path.name: path.read_text() for path in here.iterdir()} == {taken: "mine"}
    assert vacuary("export", "Pellomi", "-o", "out.csv", "--force").code == 0
    assert (here / "out.csv").read_bytes() == TABLE


def test_a_file_gets_the_permissions_any_new_file_gets(vacuary, shelf, here):
    before = os.umask(0o027)
    try:
        vacuary("export", "Pellomi", "-o", "out.csv")
    finally:
        os.umask(before)
    assert (here / "out.csv").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("name", ["missing/out.csv", "."])
def test_a_place_that_cannot_be_written_is_said_before_anything_is_fetched(vacuary, shelf, registry, name):
    ran = vacuary("export", "Pellomi", "-o", name)
    assert ran.code == 2
    assert registry.asked == []


@pytest.mark.parametrize("said", ["state", "=any"])
def test_where_takes_pairs(vacuary, shelf, said):
    assert vacuary("export", "Pellomi", "--where", said).code == 2
