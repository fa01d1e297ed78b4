"""Pieces compressed apart make one gzip file that any reader takes."""

import gzip
import random
import zlib

import pytest

from registry.answers.keeping.deflated import deflated, gzipped, zeros_appended


@pytest.mark.parametrize("seed", range(20))
def test_pieces_in_a_row_are_one_gzip_file(seed) -> None:
    chance = random.Random(seed)
    sizes = [chance.choice([0, 1, 2, 300, 5_000, 70_000]) for _ in range(chance.randint(0, 9))]
    texts = [bytes(chance.choices(b'{}[]",:0123456789', k=size)) for size in sizes]
    body = gzipped([deflated(text) if chance.random() < 0.7 else text for text in texts])
    assert gzip.decompress(body) == b"".join(texts)
    # In one go, and as a client that knows one file alone reads it: nothing is left over.
    reader = zlib.decompressobj(16 + zlib.MAX_WBITS)
    assert reader.decompress(body) == b"".join(texts)
    assert (reader.eof, reader.unused_data) == (True, b"")
    assert [deflated(text).text for text in texts] == texts


@pytest.mark.parametrize("count", [0, 1, 2, 7, 255, 256, 100_003])
def test_zeros_appended_do_to_a_crc_what_zlib_says(count) -> None:
    # A CRC-32 starts and ends with all bits turned; what zeros do to the difference of two is linear.
    one, other = b"lapwing", b"dunlin!"
    apart = zlib.crc32(one) ^ zlib.crc32(other)
    later = zlib.crc32(one + bytes(count)) ^ zlib.crc32(other + bytes(count))
    matrix = zeros_appended(count)
    found = 0
    for bit in range(32):
        found ^= matrix[bit] * (apart >> bit & 1)
    assert found == later
