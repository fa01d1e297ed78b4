"""What a trace file looks like, so that files of one form need to be looked at once only.

Nothing is understood here: that is the server's work. Two files have the same look when the lines above their
numbers and the form of their first numbers are the same, whatever the figures in them.
"""

import re
import zlib
from collections.abc import Hashable
from pathlib import Path

from client_cli.manifest import Row, decode

_HEAD_BYTES = 8192
_GZIP = b"\x1f\x8b"
_NUMBER = re.compile(r"[-+]?\d+(?:([.,])\d+)?(?:[eE][-+]?\d+)?")
# What is said of a file beside it changes how it is read.
_SAID = ("gauge", "unit", "rate_hz", "vacuum_column", "sign", "side")


def look_of(row: Row) -> Hashable:
    """A key that rows share whose files will be read alike: the file's look and what is said of it."""
    said = tuple(str(row.provenance.get(key, "")).casefold() for key in _SAID)
    return (_head(row.file), said)


def _head(path: Path) -> tuple[str, ...]:
    try:
        with path.open("rb") as file:
            data = file.read(_HEAD_BYTES)
    except (OSError, ValueError):
        return ("unreadable",)
    if data.startswith(_GZIP):
        data = _unpacked(data)
    forms = []
    for line in decode(data).splitlines():
        form = _NUMBER.sub(lambda found: f"9{found[1] or ''}", line.strip())
        forms.append(form)
        if "9" in form and not re.search(r"[^\W\d_]", form):  # the first line of numbers alone
            break
    return tuple(forms)


def _unpacked(data: bytes) -> bytes:
    try:
        return zlib.decompressobj(31).decompress(data, _HEAD_BYTES)
    except zlib.error:
        return data[:2]
