"""Files: what other programs read back is what was stored, byte for byte the same each time."""

import csv
import hashlib
import io
import json

import pandas as pd
import pyarrow.parquet as pq
import pytest

from registry.answers import cautions
from registry.answers.exports import measurements, parquetfile, sink
from registry.answers.exports.build import build
from registry.answers.exports.columns import count, flag, number, text, time
from registry.answers.exports.csvfile import CsvWriter
from registry.answers.exports.dictionary import about, dictionary_csv
from registry.answers.exports.sink import Sink
from registry.answers.exports.tables import TABLES
from registry.errors import TooLarge
from registry.models import PumpModel, Rig, Unit
from tests import factories
from tests.answers.exports.stored import measured_run

pytestmark = pytest.mark.django_db
HOSTILE = (
    "=cmd|'/C calc'!A0",
    '@x,"quoted"',
    "+1;=2",
    "-3\r\n=4",
    "＝5",
    "'=6",
    "\t=7",
    "plain",
    "Ω ½ 日本",
    "a, b",
)
TABLE = TABLES["measurements"]


@pytest.fixture
def hostile():
    """A model, units and rigs with names that are out to harm, each with one run."""
    factories.edition()
    model = factories.pump_model('=Lapwing, "One"', pattern=None)
    for place, name in enumerate(HOSTILE):
        unit = Unit.objects.create(pump_model=model, serial=name)
        run = measured_run(unit, plus=place / 3)
        run.rig = Rig.objects.create(protector=name)
        run.save()
    return PumpModel.objects.get().name


def made(form, folder, model, **how):
    export = build(TABLE, form, {"model": model}, folder, **how)
    with export.sink.file as file:
        file.seek(0)
        data = file.read()
    assert export.sink.size == len(data)
    assert export.sink.digest == hashlib.sha256(data).digest()
    return data, export


def expected(model):
    return [row for chunk in TABLE.fill(model=model).chunks for row in chunk]


def protected(name):
    """As a CSV file holds the hostile names; written out here, so that the rule is not tested by itself."""
    return {
        "=cmd|'/C calc'!A0": "'=cmd|'/C calc'!A0",
        '@x,"quoted"': '\'@x,"quoted"',
        "+1;=2": "'+1;'=2",
        "-3\r\n=4": "'-3\r'\n'=4",
        "＝5": "'＝5",
        "'=6": "''=6",
        "\t=7": "'\t'=7",
    }.get(name, name)


def test_csv_reads_back_with_the_standard_library(hostile, tmp_path):
    data, export = made("csv", tmp_path, hostile)
    rows = list(csv.DictReader(io.StringIO(data.decode(), newline="")))
    assert len(rows) == export.rows == 3 * len(HOSTILE)
    for row, stored in zip(rows, expected(hostile), strict=True):
        for column, value in zip(TABLE.columns, stored, strict=True):
            cell = row[column.name]
            if value is None:
                assert cell == ""
            elif column.kind == "time":
                assert pd.Timestamp(cell) == value
                assert cell.endswith("Z")
            elif column.kind in ("number", "integer"):
                assert float(cell) == value
            elif column.name in ("serial", "protector"):
                assert cell == protected(value)
    assert {row["pump_model"] for row in rows} == {"'" + hostile}
    assert "-0.5" in {row["value"] for row in rows}


def test_csv_reads_back_with_pandas(hostile, tmp_path):
    data, _ = made("csv", tmp_path, hostile)
    frame = pd.read_csv(io.BytesIO(data), keep_default_na=False, lineterminator=None)
    assert list(frame.columns) == [column.name for column in TABLE.columns]
    values = [row[[c.name for c in TABLE.columns].index("value")] for row in expected(hostile)]
    assert frame["value"].tolist() == values
    plain = frame.loc[frame["protector"] == "plain"]
    assert len(plain) == 3


def test_csv_is_of_rfc_4180(hostile, tmp_path):
    data, _ = made("csv", tmp_path, hostile)
    assert data.endswith(b"\r\n")
    assert not data.startswith(b"\xef\xbb\xbf")
    assert data.split(b"\r\n")[0].decode() == ",".join(column.name for column in TABLE.columns)
    assert b'"\'@x,""quoted"""' in data
    marked, _ = made("csv", tmp_path, hostile, mark=True)
    assert marked == b"\xef\xbb\xbf" + data


def test_parquet_holds_texts_as_they_were_and_tells_its_columns(hostile, tmp_path):
    data, export = made("parquet", tmp_path, hostile)
    table = pq.read_table(io.BytesIO(data))
    names = [column.name for column in TABLE.columns]
    assert [tuple(row[name] for name in names) for row in table.to_pylist()] == expected(hostile)
    assert table.num_rows == export.rows
    field = table.schema.field("flange_mm")
    assert field.metadata == {b"description": b"flange size", b"unit": b"mm"}
    told = json.loads(table.schema.metadata[b"vacuary"])
    assert [column["name"] for column in told["columns"]] == names
    assert {metric["name"] for metric in told["metrics"]} >= {"cycle_rate", "peak_vacuum"}
    assert told["cautions"]
    frame = pd.read_parquet(io.BytesIO(data))
    assert frame["serial"].unique().tolist() == list(HOSTILE)
    assert str(frame["received_at"].dtype).endswith("UTC]")


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_the_same_question_over_the_same_data_gives_the_same_bytes(hostile, tmp_path, form, monkeypatch):
    first, _ = made(form, tmp_path, hostile)
    again, _ = made(form, tmp_path, hostile.lower())
    assert first == again
    measured_run(Unit.objects.first())
    other, _ = made(form, tmp_path, hostile)
    assert other != first


def test_row_groups_are_bounded_and_whole(hostile, tmp_path, monkeypatch):
    monkeypatch.setattr(measurements, "ROWS_A_CHUNK", 4)
    monkeypatch.setattr(parquetfile, "ROWS_A_GROUP", 8)
    data, _ = made("parquet", tmp_path, hostile)
    file = pq.ParquetFile(io.BytesIO(data))
    assert [file.metadata.row_group(k).num_rows for k in range(file.num_row_groups)] == [8, 8, 8, 6]
    names = [column.name for column in TABLE.columns]
    assert [tuple(row[name] for name in names) for row in file.read().to_pylist()] == expected(hostile)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_table_without_rows_is_a_file_with_columns(tmp_path, form):
    factories.edition()
    model = factories.pump_model().name
    data, export = made(form, tmp_path, model)
    assert export.rows == 0
    if form == "csv":
        assert pd.read_csv(io.BytesIO(data)).columns.tolist()[0] == "run"
    else:
        assert pq.read_table(io.BytesIO(data)).column_names[0] == "run"


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_a_file_past_its_bound_is_refused_and_nothing_is_left(hostile, tmp_path, form, monkeypatch):
    monkeypatch.setattr(sink, "MOST_BYTES", 600)
    with pytest.raises(TooLarge):
        build(TABLE, form, {"model": hostile}, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_an_abandoned_sink_keeps_nothing(tmp_path):
    made_ = Sink(tmp_path / "exports")
    made_.write(b"abc")
    assert list((tmp_path / "exports").iterdir()) == []
    made_.abandon()
    assert made_.write(b"d") == 1
    assert made_.closed


def test_every_kind_of_cell_has_its_form_in_csv():
    held = io.BytesIO()
    columns = (text("a", "x"), count("b", "x"), number("c", "x"), flag("d", "x"), time("e", "x"))
    CsvWriter(held, columns).write([("x", 1, 0.1, True, factories.NOW), ("", None, 1e-7, False, None)])
    assert held.getvalue() == b"a,b,c,d,e\r\nx,1,0.1,true,2026-01-05T09:00:00Z\r\n,,1e-07,false,\r\n"


def test_the_dictionary_as_csv_tells_columns_metrics_and_notes():
    document = about(TABLES["distributions"], 1)
    rows = list(csv.DictReader(io.StringIO(dictionary_csv(document).decode())))
    by_kind = {kind: [row for row in rows if row["kind"] == kind] for kind in ("column", "metric", "note")}
    assert [row["name"] for row in by_kind["column"]] == [c.name for c in TABLES["distributions"].columns]
    (peak,) = (row for row in by_kind["metric"] if row["name"] == "peak_vacuum")
    assert peak["unit"] == "mmHg"
    assert any("apostrophe" in row["description"] for row in by_kind["note"])
    assert rows[-1]["description"] == cautions.DISTRIBUTIONS[-1]
