"""File locks between processes. The kernel drops them with their last holder, so none outlives a kill."""

import fcntl
import os
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from registry.config.embedded.errors import EmbeddedDatabaseError

_PAUSE_S = 0.02


def open_lock(path: Path) -> int:
    """Open a lock file, made if missing, and return its descriptor, which started programs do not inherit.

    Root working in somebody's folder leaves the file to the folder's owner, who must be able to open it.
    """
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    except PermissionError as refused:
        raise EmbeddedDatabaseError(
            f"The embedded database in {path.parent} belongs to another user. Run as that user, or set "
            "VACUARY_HOME to a folder of your own."
        ) from refused
    if os.geteuid() == 0:
        owner = path.parent.stat()
        os.fchown(descriptor, owner.st_uid, owner.st_gid)
    return descriptor


def try_lock(descriptor: int, *, shared: bool = False) -> bool:
    """Take the lock without waiting; tell whether it was had. A lock already held is converted."""
    try:
        fcntl.flock(descriptor, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError as failure:
        raise EmbeddedDatabaseError(
            f"This file system keeps no file locks ({failure}), which the embedded database needs. Set "
            "VACUARY_HOME to a folder on a local disk, or set DATABASE_URL to a PostgreSQL."
        ) from failure
    return True


@contextmanager
def exclusive(path: Path, deadline: float) -> Iterator[None]:
    """Hold the lock file alone; wait for it until `deadline` (time.monotonic seconds).

    Raises TimeoutError when another process keeps it longer.
    """
    descriptor = open_lock(path)
    try:
        while not try_lock(descriptor):
            if time.monotonic() > deadline:
                raise TimeoutError(f"{path} is still held by another process")
            time.sleep(_PAUSE_S)
        yield
    finally:
        os.close(descriptor)
