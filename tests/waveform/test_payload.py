"""The bytes before they are a table: packing, encodings, line ends, padding, bounds."""

import gzip
import time
import tracemalloc
import zlib
from itertools import pairwise

import numpy as np
import pytest

from registry.waveform import Declared, read
from registry.waveform.reader import payload, table

from .test_channels import LEFT, SECONDS, N, refusal
from .test_channels import table as rows

PLAIN = rows("Time (s),Vacuum (mmHg)", SECONDS, LEFT)
TEXT = PLAIN.decode()


def same(data):
    reading = read(data)
    assert reading.understood.samples == N
    np.testing.assert_allclose(reading.vacuum, LEFT, atol=1e-4)
    np.testing.assert_allclose(reading.seconds, SECONDS, atol=1e-9)
    return reading.understood


def members(count):
    """The file as so many members of gzip, one after another."""
    edges = np.linspace(0, len(PLAIN), count + 1).astype(int)
    return b"".join(gzip.compress(PLAIN[a:b], mtime=0) for a, b in pairwise(edges))


@pytest.mark.parametrize("count", [1, 2, 7, 300])
def test_gzip_of_one_or_many_members(count):
    assert same(members(count)).compression == "gzip"


def test_gzip_with_something_after_it():
    same(gzip.compress(PLAIN) + b"\0" * 512)


@pytest.mark.parametrize(
    "data",
    [
        gzip.compress(PLAIN, mtime=0)[:-3],
        gzip.compress(PLAIN, mtime=0)[:40],
        gzip.compress(PLAIN, mtime=0) + gzip.compress(PLAIN, mtime=0)[:30],
        gzip.compress(PLAIN, mtime=0)[:-8] + b"\0" * 8,
        b"\x1f\x8b",
    ],
)
def test_gzip_that_is_cut_or_damaged(data):
    assert refusal(data).code == "damaged_gzip"


def bomb(layers=1):
    """A gigabyte of blanks in a megabyte, or in less."""
    packer = zlib.compressobj(9, wbits=31)
    block = b" " * 2**20
    data = b"".join(packer.compress(block) for _ in range(1024)) + packer.flush()
    for _ in range(layers - 1):
        data = gzip.compress(data, 9)
    return data


def test_a_bomb_is_refused_quickly_and_in_little_memory():
    data = bomb()
    assert len(data) < 2**21
    tracemalloc.start()
    began = time.process_time()
    assert refusal(data).code == "too_large"
    assert time.process_time() - began < 2
    assert tracemalloc.get_traced_memory()[1] < 3 * payload.MOST_BYTES
    tracemalloc.stop()


def test_a_packed_bomb_in_a_bomb_is_no_text():
    assert refusal(bomb(2)).code == "not_text"


def test_many_small_members_cost_no_more_than_their_bytes():
    data = gzip.compress(b"") * 900 + gzip.compress(np.random.default_rng(1).bytes(8_000_000), 1)
    began = time.process_time()
    assert refusal(data).code == "not_text"
    assert time.process_time() - began < 1.5
    assert refusal(gzip.compress(b"") * 2000).code == "damaged_gzip"


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (TEXT.encode("utf-8"), "ascii"),
        (TEXT.replace("Time", "Überdruckzeit").encode("utf-8"), "utf-8"),
        (TEXT.encode("utf-8-sig"), "utf-8-sig"),
        (TEXT.encode("utf-16"), "utf-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "utf-16"),
        (TEXT.encode("utf-16-le"), "utf-16-le"),
        (TEXT.encode("utf-16-be"), "utf-16-be"),
        (TEXT.replace("Time", "Prüfzeit °").encode("latin-1"), "latin-1"),
    ],
)
def test_encodings(data, encoding):
    assert same(data).encoding == encoding


@pytest.mark.parametrize("minus", [("−", "utf-8"), ("–", "utf-8"), ("−", "utf-16"), ("\x96", "latin-1")])
def test_odd_minus_signs_and_blanks(minus):
    sign, encoding = minus
    body = "".join(f"{at:.2f};\xa0{sign}{value:.4f}\n" for at, value in zip(SECONDS, LEFT, strict=True))
    reading = read(f"Time (s);Pressure (mmHg)\n{body}".encode(encoding))
    np.testing.assert_allclose(reading.vacuum, LEFT, atol=1e-4)
    assert reading.shown_sign == -1


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\r\r\n", "\n\n", " \n", "\t\r\n"])
def test_line_ends(end):
    same(TEXT.replace("\n", end).encode())


def test_line_ends_that_change_on_the_way():
    head, body = TEXT[:200], TEXT[200:]
    same((head.replace("\n", "\r\n") + body.replace("\n", "\r")).encode())
    same(TEXT.rstrip("\n").encode())


@pytest.mark.parametrize("padding", [b"\0" * 1000, b"\x1a", b"\x1a\0\0", b"\n\n\n", b"   \n"])
def test_padding_after_the_text(padding):
    same(PLAIN + padding)


@pytest.mark.parametrize("text", ["\0" * 900, "\x1a" * 20, "\ufeff", " \n\t\r\n"])
def test_nothing_but_padding(text):
    assert refusal(text.encode()).code in {"empty", "not_text"}


def test_the_largest_file_and_one_byte_more():
    row = b"%.3f,%.1f\n"
    whole = b"Time (s),Vacuum (mmHg)\n"
    body = b"".join(row % (at / 1000, 100 + at % 97) for at in range(200_000))
    body *= 9
    # Times start again, so the whole file is read before it is refused.
    data = (whole + body)[: payload.MOST_BYTES]
    fault = refusal(data[: data.rfind(b"\n") + 1])
    assert (fault.code, fault.line) == ("time_goes_back", 200_002)
    assert refusal(b"x" * (payload.MOST_BYTES + 1)).code == "too_large"


def test_two_million_samples_and_one_more():
    data = b"Vacuum (mmHg)\n" + b"9.5\n10\n" * (table.MOST_SAMPLES // 2)
    assert read(data, Declared(rate_hz=1000)).understood.samples == table.MOST_SAMPLES
    fault = refusal(data + b"9\n", Declared(rate_hz=1000))
    assert fault.code == "too_many_samples"
    assert "2,000,000" in fault.message


def test_what_reading_adds_to_memory_is_bounded():
    pair = b"%.3f,OL\n%.3f,101.5\n"
    body = b"".join(pair % (at / 500, at / 500 + 0.001) for at in range(450_000))
    data = b"Time (s),Vacuum (mmHg)\n" + body
    assert len(data) > 10e6
    tracemalloc.start()
    assert read(data).over_range.sum() == 450_000
    assert tracemalloc.get_traced_memory()[1] < 130 * 2**20
    tracemalloc.stop()
