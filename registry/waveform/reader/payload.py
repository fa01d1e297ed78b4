"""Bytes of a file to clean UTF-8 text: size, compression, character encoding, line ends."""

import zlib
from dataclasses import dataclass

from registry.waveform.types import ReadError

MOST_BYTES = 20 * 1024 * 1024
PORTION = (
    16 * 1024
)  # bytes of a gzip file taken at once, so that many small members cost no copies of the rest
MOST_MEMBERS = 1000
_CONTROL = bytes(set(range(32)) - {9, 10, 12, 13}) + b"\x7f"
_FOREIGN = {
    b"PK\x03\x04": "a zip archive or a spreadsheet",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet or document",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"BZh": "a bzip2 archive",
    b"\xfd7zXZ": "an xz archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"\x28\xb5\x2f\xfd": "a zstd archive",
}
_PADDING = b"\x00\x1a"  # loggers that reserve space, and the old mark for the end of a text
_SAVE_AS_TEXT = "Save or export it as CSV or plain text (gzip is fine) and send that."
_ODD_SIGNS = tuple(
    (odd.encode(), plain)
    for odd, plain in (
        ("\u2212", b"-"),
        ("\u2013", b"-"),
        ("\xa0", b" "),
        ("\u202f", b" "),
        ("\u2009", b" "),
        ("\ufeff", b""),
    )
)
# Dash, minus and blank that Windows puts where Latin-1 has control characters.
_WINDOWS_SIGNS = bytes.maketrans(b"\x96\x97\xa0", b"-- ")


@dataclass(frozen=True)
class Payload:
    """Text as UTF-8 bytes with `\\n` or `\\r\\n` line ends, without padding after it, and how it came."""

    text: bytes
    encoding: str
    compression: str


def unpack(data: bytes) -> Payload:
    """Undo compression and encoding. ReadError: empty, too_large, damaged_gzip, not_text."""
    if len(data) > MOST_BYTES:
        raise _too_large()
    compression = "none"
    if data[:2] == b"\x1f\x8b":
        data, compression = _gunzip(data), "gzip"
    for magic, name in _FOREIGN.items():
        if data.startswith(magic):
            raise ReadError("not_text", f"This is {name}, not a table in text form.", hint=_SAVE_AS_TEXT)
    text, encoding = _to_utf8(data)
    text = text.rstrip(_PADDING) if text[-1:] in {b"\x00", b"\x1a"} else text
    if not text or text.isspace():
        raise ReadError("empty", "The file is empty.", hint="Send the file the logger wrote.")
    if text[:8192].translate(None, _CONTROL) != text[:8192]:
        raise ReadError("not_text", "The file is not text.", line=1, hint=_SAVE_AS_TEXT)
    if b"\r" in text and text.count(b"\r") != text.count(b"\r\n"):
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return Payload(text, encoding, compression)


def _too_large() -> ReadError:
    return ReadError(
        "too_large",
        f"The file is larger than {MOST_BYTES // 1024**2} MiB.",
        hint="Send one setting a file; a minute at 100 samples a second is about 100 kB.",
    )


def _gunzip(data: bytes) -> bytes:
    """All members of a gzip file, never more than the limit in memory; what follows the last is left."""
    parts: list[bytes] = []
    size = members = at = 0
    while data[at : at + 2] == b"\x1f\x8b":
        unpacker = zlib.decompressobj(wbits=31)
        while not unpacker.eof:
            portion = unpacker.unconsumed_tail or data[at : at + PORTION]
            if not portion:
                raise _damaged()
            at += 0 if unpacker.unconsumed_tail else len(portion)
            try:
                parts.append(unpacker.decompress(portion, MOST_BYTES + 1 - size))
            except zlib.error:
                raise _damaged() from None
            size += len(parts[-1])
            if size > MOST_BYTES:
                raise _too_large()
        at -= len(unpacker.unused_data)
        members += 1
        if members > MOST_MEMBERS:
            raise _damaged()
    return b"".join(parts)


def _damaged() -> ReadError:
    return ReadError(
        "damaged_gzip",
        "The gzip file is cut off or damaged.",
        hint="Compress the trace again, or send it as is.",
    )


def _to_utf8(data: bytes) -> tuple[bytes, str]:
    if data.isascii() and b"\x00" not in data[:64]:
        return data, "ascii"
    try:
        text, encoding = _decode(data)
    except UnicodeDecodeError as fault:
        line = data[: fault.start].count(b"\n") + 1
        raise ReadError(
            "not_text", "The file is not text in a known encoding.", line, _SAVE_AS_TEXT
        ) from None
    for odd, plain in _ODD_SIGNS:
        text = text.replace(odd, plain)
    return text, encoding


def _decode(data: bytes) -> tuple[bytes, str]:
    """(the text as UTF-8, how it was encoded)."""
    if data.startswith(b"\xef\xbb\xbf"):
        return _checked(data[3:]), "utf-8-sig"
    if data[:2] in {b"\xff\xfe", b"\xfe\xff"}:
        return data.decode("utf-16").encode("utf-8", "replace"), "utf-16"
    head = data[:400]
    for offset, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        if head[offset::2].count(0) > 0.4 * len(head) / 2 and head[1 - offset :: 2].count(0) == 0:
            return data.decode(name).encode("utf-8", "replace"), name
    data = data.rstrip(_PADDING)
    if b"\x00" in data:
        raise ReadError("not_text", "The file is not text.", hint=_SAVE_AS_TEXT)
    try:
        return _checked(data), "utf-8"
    except UnicodeDecodeError:
        return data.translate(_WINDOWS_SIGNS).decode("latin-1").encode(), "latin-1"


def _checked(data: bytes) -> bytes:
    """The same, or UnicodeDecodeError where it is no UTF-8."""
    data.decode("utf-8")
    return data
