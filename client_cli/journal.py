"""What a server has already acknowledged, kept on this computer so that an upload goes on where it stopped.

The journal only saves sending and vouches for nothing: before a run in it is passed over, the server is asked
whether it still holds that run (`client_cli.holdings`). The server knows a run by its content, so a lost, old
or foreign journal costs time and never correctness. One line a run is appended whole and flushed to the disk
before the next run is sent; a line torn by a power cut is passed over.
"""

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from client_cli.provenance import Provenance


@dataclass(frozen=True)
class Entry:
    """One acknowledged run: its id at the server and the state it was given."""

    id: str | int
    state: str


def digest(data: bytes) -> str:
    """The SHA-256 digest in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def digest_of_provenance(provenance: Provenance) -> str:
    """A digest that does not depend on the order of the keys."""
    return digest(json.dumps(provenance, sort_keys=True, ensure_ascii=True).encode())


def journal_path(server: str, token: str | None) -> Path:
    """Where the journal for this server and account lies: a file in the user's own state folder.

    Runs belong to a clinic, so two tokens share no journal; their digests keep the tokens out of the name.
    """
    import platformdirs

    account = digest(f"{server}\n{token or ''}".encode())[:20]
    return Path(platformdirs.user_state_dir("vacuary")) / "uploads" / f"{account}.jsonl"


class Journal:
    """Acknowledged runs by (digest of the file, digest of its provenance).

    In a folder that cannot be written the journal forgets (`trouble` says why); the upload does not fail.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.trouble = ""
        self._entries: dict[tuple[str, str], Entry] = {}
        self._load()

    def find(self, trace: str, provenance: str) -> Entry | None:
        """What the server said of this trace with this provenance, or None."""
        return self._entries.get((trace, provenance))

    def note(self, trace: str, provenance: str, entry: Entry) -> None:
        """Remember an acknowledged run, on the disk before this returns."""
        self._entries[(trace, provenance)] = entry
        row = {"trace": trace, "provenance": provenance, "id": entry.id, "state": entry.state}
        try:
            self._append(json.dumps(row, ensure_ascii=True) + "\n")
        except OSError as error:
            self.trouble = f"{self.path} cannot be written: {error.strerror or error}"

    def _append(self, line: str) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0)
        with os.fdopen(os.open(self.path, flags, 0o600), "r+b", buffering=0) as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - 1, 0))
            torn = size > 0 and file.read(1) != b"\n"
            file.write((b"\n" if torn else b"") + line.encode())
            os.fsync(file.fileno())

    def _load(self) -> None:
        try:
            lines = self.path.read_text(encoding="utf-8", errors="replace").splitlines()
        except FileNotFoundError:
            return
        except OSError as error:
            self.trouble = f"{self.path} cannot be read: {error.strerror or error}"
            return
        for line in lines:
            self._take(line)

    def _take(self, line: str) -> None:
        try:
            row: Any = json.loads(line)
            key = (str(row["trace"]), str(row["provenance"]))
            self._entries[key] = Entry(row["id"], str(row["state"]))
        except (ValueError, KeyError, TypeError):
            return  # torn, or not ours: the run is sent again, which is harmless
