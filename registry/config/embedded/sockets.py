"""The private folder of the server's Unix socket.

A socket's path may have about 100 bytes, less than many home folders, so it lies under the system's folder
for temporary files in a folder that only the server's user may enter.
"""

import hashlib
import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from registry.config.embedded.account import Account, allow_passing

_LONGEST_BASE = 50  # bytes; leaves room for the folder's and the socket's own names on every system


def make_socket_folder(data: Path, account: Account) -> Path:
    """Return an empty folder for the socket of the cluster in `data`, owned by `account`, closed to others.

    For a caller that knows that no server of this cluster lives: what a killed one left there is removed,
    for its lock file names a process id that may be another process's by now.
    Its name follows from `data`, so a cluster that was killed finds its own again. If somebody else already
    sits on that name, another name is drawn: the joining processes read it from the server's own pid file.
    """
    base = _base()
    folder = base / socket_folder_name(data, account)
    try:
        folder.mkdir(mode=0o700)
    except FileExistsError:
        if not _is_private(folder, account):
            folder = Path(tempfile.mkdtemp(prefix="vacuary-", dir=base))
    for left_behind in folder.iterdir():
        left_behind.unlink()
    if os.geteuid() != account.uid:
        os.chown(folder, account.uid, account.gid, follow_symlinks=False)
        allow_passing(folder.parent, account)
    return folder


def remove_socket_folder(folder: Path) -> None:
    """Remove the folder of a server that has ended, unless something is left in it."""
    with suppress(OSError):
        folder.rmdir()


def socket_folder_name(data: Path, account: Account) -> str:
    """Return a short name that belongs to this very folder, not to the next one at the same path.

    The server of a folder that was deleted under it lives on for a minute, and removes its socket by its
    path when it ends. The next folder may get the same inode, so the time its database was made counts too.
    """
    status, made = data.stat(), (data / "PG_VERSION").stat()
    identity = f"{status.st_dev}:{status.st_ino}:{made.st_mtime_ns}:".encode() + os.fsencode(data)
    return f"vacuary-{account.uid}-{hashlib.sha256(identity).hexdigest()[:12]}"


def _base() -> Path:
    """Return the folder for temporary files, or /tmp where that one's path is too long or holds a comma."""
    usual = tempfile.gettempdir()
    # The client library reads a comma in a socket folder as the start of a second one.
    fits = len(os.fsencode(usual)) <= _LONGEST_BASE and "," not in usual
    return Path(usual if fits else "/tmp")  # noqa: S108 (the folder made in it is private and verified)


def _is_private(folder: Path, account: Account) -> bool:
    """Tell whether `folder` is a real folder of ours that nobody else may enter."""
    status = folder.lstat()
    ours = status.st_uid in (account.uid, os.geteuid())
    return stat.S_ISDIR(status.st_mode) and ours and not status.st_mode & 0o077
