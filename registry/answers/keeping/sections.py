"""Several texts in one body, each compressed by itself, so that only what is needed is read."""

import struct
import zlib
from collections.abc import Sequence
from functools import cached_property

_LENGTH = struct.Struct(">I")


class Section:
    """One text of a body, read when it is first wanted."""

    def __init__(self, packed: bytes) -> None:
        self._packed = packed

    @cached_property
    def text(self) -> bytes:
        """What was packed."""
        return zlib.decompress(self._packed)


class Ready(Section):
    """A text that was never packed."""

    def __init__(self, text: bytes) -> None:
        self.text = text


def packed(texts: Sequence[bytes]) -> bytes:
    """One body of several texts."""
    body = [zlib.compress(text) for text in texts]
    return b"".join((_LENGTH.pack(len(body)), *(_LENGTH.pack(len(one)) for one in body), *body))


def unpacked(body: bytes) -> list[Section]:
    """The texts of a body in the order they were packed in."""
    size = _LENGTH.size
    (count,) = _LENGTH.unpack_from(body)
    lengths = struct.unpack_from(f">{count}I", body, size)
    place, found = size * (1 + count), []
    for length in lengths:
        found.append(Section(body[place : place + length]))
        place += length
    return found
