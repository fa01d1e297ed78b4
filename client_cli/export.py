"""Fetch a table as a file that is whole and proven, or not there at all."""

import base64
import hashlib
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import requests

from client_cli.errors import Fault, WrongUse
from client_cli.retry import Transient
from client_cli.session import Query, Session

PIECE = 64 * 1024
# Bytes so far and, where known, of how many.
Advance = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Fetched:
    """What a file that arrived is."""

    rows: int | None
    digest: str
    edition: int | None
    as_of: str
    size: int


class Incoming:
    """A file on its way. A cut connection goes on where it stopped, if the server still has the same file."""

    def __init__(self, file: IO[bytes], advance: Advance) -> None:
        self._file = file
        self._advance = advance
        self._tag = ""
        self._digest = hashlib.sha256()
        self.size = 0
        self.fetched: Fetched | None = None

    def wanting(self) -> Mapping[str, str]:
        """Ask for the rest of what was begun."""
        if not self.size or not self._tag:
            return {}
        return {"Range": f"bytes={self.size}-", "If-Range": self._tag}

    def receive(self, response: requests.Response) -> None:
        """Append what arrives and check it. Raises Transient where another try may mend it."""
        if response.status_code != 206 or not self._goes_on(response):
            self._begin(response)
        length = response.headers.get("Content-Length", "")
        total = self.size + int(length) if length.isdecimal() else None
        for piece in response.iter_content(PIECE):
            self._file.write(piece)
            self._digest.update(piece)
            self.size += len(piece)
            self._advance(self.size, total)
        self._prove(response)

    def _goes_on(self, response: requests.Response) -> bool:
        begun = re.match(r"bytes ([0-9]+)-", response.headers.get("Content-Range", ""))
        if begun and int(begun[1]) == self.size and response.headers.get("ETag") == self._tag:
            return True
        self._forget()
        raise Transient("it sent another part of the file than was asked for")

    def _begin(self, response: requests.Response) -> None:
        self._forget()
        self._tag = response.headers.get("ETag", "")

    def _forget(self) -> None:
        self._file.seek(0)
        self._file.truncate()
        self._digest, self.size, self._tag = hashlib.sha256(), 0, ""

    def _prove(self, response: requests.Response) -> None:
        told = told_digest(response.headers.get("Repr-Digest", ""))
        if told is None:
            raise Fault("The server does not say the digest of the file, so it cannot be proven whole.")
        if told != self._digest.digest():
            self._forget()
            raise Transient("the file arrived damaged")
        headers = response.headers
        self.fetched = Fetched(
            _number(headers.get("Vacuary-Rows")),
            told.hex(),
            _number(headers.get("Vacuary-Edition")),
            headers.get("Vacuary-As-Of", ""),
            self.size,
        )


def fetch(session: Session, path: str, query: Query, file: IO[bytes], advance: Advance) -> Fetched:
    """Fetch a file into `file` and prove it by its digest. Raises what a session raises, and Fault."""
    incoming = Incoming(file, advance)
    session.fetch(path, query, incoming)
    if incoming.fetched is None:
        raise Fault("The file did not arrive.")
    return incoming.fetched


@contextmanager
def appearing(path: Path, *, force: bool) -> Iterator[IO[bytes]]:
    """A file to write that bears the name `path` once the block has ended well, and leaves nothing otherwise.

    Raises WrongUse where the name is taken and not to be written over, or where nothing can be written.
    """
    _check_free(path, force=force)
    try:
        held = tempfile.NamedTemporaryFile(  # noqa: SIM115 - it outlives this block under another name
            dir=path.parent, prefix=f".{path.name[:40]}.", suffix=".part", delete=False
        )
    except OSError as error:
        raise _cannot(path, error) from error
    try:
        with held:
            yield held
            held.flush()
            os.fsync(held.fileno())
        _check_free(path, force=force)
        Path(held.name).chmod(0o666 & ~_umask())
        Path(held.name).replace(path)
    except OSError as error:
        Path(held.name).unlink(missing_ok=True)
        raise _cannot(path, error) from error
    except BaseException:
        Path(held.name).unlink(missing_ok=True)
        raise


def to_stdout(held: IO[bytes]) -> None:
    """Copy a file that has been proven to stdout."""
    held.seek(0)
    shutil.copyfileobj(held, sys.stdout.buffer)
    sys.stdout.flush()


def _check_free(path: Path, *, force: bool) -> None:
    if path.is_dir():
        raise WrongUse(f"{path} is a folder.", "Give the name of a file in it.")
    if path.exists() and not force:
        raise WrongUse(f"{path} is already there.", "Give another name, or --force to write over it.")


def _cannot(path: Path, error: OSError) -> WrongUse:
    return WrongUse(f"{path} cannot be written: {error.strerror}.")


def _umask() -> int:
    """The permissions new files do not get; it can be read by setting it only."""
    mask = os.umask(0o077)
    os.umask(mask)
    return mask


def told_digest(header: str) -> bytes | None:
    """The SHA-256 in a Repr-Digest (RFC 9530), None without one."""
    found = re.search(r"(?:^|,)\s*sha-256=:([A-Za-z0-9+/=]{44}):", header)
    return base64.b64decode(found[1]) if found else None


def _number(said: Any) -> int | None:
    return int(said) if said and str(said).isdecimal() else None
