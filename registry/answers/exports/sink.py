"""The file an export is written to: counted, bounded, and digested as it grows."""

import hashlib
import tempfile
from pathlib import Path
from typing import IO

from registry.errors import TooLarge

# Some four times what the longest table that is made takes; reached only where texts are very long.
MOST_BYTES = 2 * 2**30


class Sink:
    """A nameless temporary file, gone when it is closed or its process ends, however that ends.

    `write` raises TooLarge past MOST_BYTES. Once abandoned, it takes what a writer still has to say and
    keeps nothing.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.file: IO[bytes] = tempfile.TemporaryFile(dir=folder)  # noqa: SIM115 - whoever sends it closes it
        self.size = 0
        self._digest = hashlib.sha256()

    def write(self, data: bytes) -> int:
        """Append bytes."""
        if self.closed:
            return len(data)
        self.size += len(data)
        if self.size > MOST_BYTES:
            raise TooLarge(
                f"The file would be larger than {MOST_BYTES // 2**30} GiB",
                hint="Ask for part of it: one metric, mode, level or revision, or a span of time.",
            )
        self._digest.update(data)
        return self.file.write(data)

    def abandon(self) -> None:
        """Throw the file away."""
        self.file.close()

    @property
    def closed(self) -> bool:
        """Whether there is no file any more."""
        return self.file.closed

    def tell(self) -> int:
        """How many bytes there are."""
        return self.size

    def flush(self) -> None:
        """Bytes wait in the file's own buffer, which is flushed before it is read."""

    @property
    def digest(self) -> bytes:
        """SHA-256 of what was written so far."""
        return self._digest.digest()
