"""Where trace files are kept on one machine."""

import os
import secrets
from pathlib import Path
from typing import Any

from django.core.files import File
from django.core.files.storage import FileSystemStorage


class DurableFileStorage(FileSystemStorage):
    """Files that survive a power cut once `save` has returned, and are never seen half written.

    Folders are made for the server's own user alone: a logger's preamble may name people. Names are content
    digests: a name that exists already holds the same bytes, so it is kept.
    """

    def get_available_name(self, name: str, max_length: int | None = None) -> str:
        return name

    def _save(self, name: str, content: "File[Any]") -> str:
        target = Path(self.path(name))
        if target.exists():
            return name
        self._make_folder(target.parent)
        draft = target.with_name(f".{secrets.token_hex(8)}")
        try:
            self._write(draft, content)
            draft.rename(target)
        except BaseException:
            draft.unlink(missing_ok=True)
            raise
        self._sync_folder(target.parent)
        return name

    @staticmethod
    def _write(draft: Path, content: "File[Any]") -> None:
        with draft.open("xb") as out:
            for chunk in content.chunks():
                out.write(chunk)
            out.flush()
            os.fsync(out.fileno())

    def _make_folder(self, folder: Path) -> None:
        """Make what is missing down to `folder`, from the top, each entry durable before the next."""
        if folder.exists():
            return
        self._make_folder(folder.parent)
        folder.mkdir(mode=0o700, exist_ok=True)
        self._sync_folder(folder.parent)

    @staticmethod
    def _sync_folder(folder: Path) -> None:
        """A rename is durable only when its folder is."""
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
