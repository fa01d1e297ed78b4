"""Files of exports against what is published of their forms. All values here are from memory.

RFC 4180, section 2: how CSV quotes. RFC 9530: the digest fields, whose examples are of the JSON text
{"hello": "world"} and a line feed. OWASP, "CSV Injection": which signs begin a formula. Apache Parquet: four
bytes PAR1 stand at either end of a file.
"""

import io

import pytest
from django.http import HttpResponse

from api.views.exports import tell_digest
from client_cli.export import told_digest
from registry.answers.exports.columns import count, text
from registry.answers.exports.csvfile import CsvWriter
from registry.answers.exports.parquetfile import ParquetWriter
from registry.answers.exports.sink import Sink
from registry.answers.exports.spreadsheets import harmless

HELLO = b'{"hello": "world"}\n'
FIELD = "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"


@pytest.mark.parametrize(
    ("cells", "line"),
    [
        (("aaa", "bbb", "ccc"), b"aaa,bbb,ccc\r\n"),
        (("aaa", "b \r\nbb", "ccc"), b'aaa,"b \r\nbb",ccc\r\n'),
        (("aaa", 'b"bb', "ccc"), b'aaa,"b""bb",ccc\r\n'),
        (("aaa", "b,bb", "ccc"), b'aaa,"b,bb",ccc\r\n'),
        (("zzz", "", " y "), b"zzz,, y \r\n"),
    ],
    ids=["rules 1, 2 and 4", "rule 6", "rule 7", "rule 6, comma", "spaces are part of a field"],
)
def test_csv_is_quoted_as_rfc_4180_says(cells, line):
    held = io.BytesIO()
    names = ("field_name", "second", "third")
    CsvWriter(held, [text(name, "x") for name in names]).write([cells])
    assert held.getvalue() == b"field_name,second,third\r\n" + line


def test_the_digest_is_told_and_read_as_in_the_examples_of_rfc_9530(tmp_path):
    sink = Sink(tmp_path)
    sink.write(HELLO)
    response = HttpResponse()
    tell_digest(response, sink.digest)
    assert response["Repr-Digest"] == FIELD
    assert told_digest(FIELD) == sink.digest
    assert told_digest(f"sha-512=:AAAA:, {FIELD}") == sink.digest
    assert told_digest("sha-512=:AAAA:") is None
    sink.abandon()


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"])
def test_every_sign_of_owasp_s_list_is_kept_from_starting_a_cell(sign):
    assert harmless(f"{sign}1+1").startswith("'")


def test_parquet_has_its_mark_at_either_end(tmp_path):
    sink = Sink(tmp_path)
    writer = ParquetWriter(sink, [count("run", "x")], {})
    writer.write([(1,), (None,)])
    writer.close()
    sink.file.seek(0)
    data = sink.file.read()
    assert data[:4] == data[-4:] == b"PAR1"
    sink.abandon()
