"""Which system user runs the server, and what that user must be able to reach.

PostgreSQL refuses to run as root. Started by root it runs as the owner of the data, which for a new cluster
is a system user of its own. That user must pass through the folders above the data and above the binaries:
the passing bit is added where it is missing, and nothing more.
"""

import os
import pwd
import shutil
import stat
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from registry.config.embedded.errors import EmbeddedDatabaseError

SYSTEM_USER = "vacuary_db"


@dataclass(frozen=True)
class Account:
    """A system user: its name, user id and group id."""

    name: str
    uid: int
    gid: int

    def subprocess_options(self) -> dict[str, Any]:
        """Return the options that make subprocess.run run a program as this user."""
        if os.geteuid() == self.uid:
            return {}
        return {"user": self.uid, "group": self.gid, "extra_groups": []}


def server_account(folder: Path, data: Path) -> Account:
    """Return the user that runs the server whose files are in `folder` and whose data is in `data`.

    Raises EmbeddedDatabaseError when that user has no name or cannot be made.
    """
    if os.geteuid() != 0:
        return _by_id(os.geteuid())
    owner = (data if data.exists() else folder).stat().st_uid
    return _by_id(owner) if owner != 0 else _system_user()


def allow_passing(path: Path, account: Account) -> None:
    """Let `account` pass through `path` and the folders above it; done by root only."""
    for folder in (path, *path.parents):
        _add_bits(folder, account, stat.S_IXUSR)


def allow_reading(tree: Path, account: Account) -> None:
    """Let `account` read and run the public files under `tree`; done by root only.

    A wheel installed under a strict umask is readable by its installer alone.
    """
    for folder, _, files in os.walk(tree):
        _add_bits(Path(folder), account, stat.S_IRUSR | stat.S_IXUSR)
        for name in files:
            path = Path(folder, name)
            may_run = path.lstat().st_mode & stat.S_IXUSR
            _add_bits(path, account, stat.S_IRUSR | may_run)


def hand_over(tree: Path, account: Account) -> None:
    """Give the files under `tree` to `account`, following no link out of it; done by root only."""
    for folder, _, files in os.walk(tree):
        for path in (folder, *(os.path.join(folder, name) for name in files)):
            os.chown(path, account.uid, account.gid, follow_symlinks=False)


def _add_bits(path: Path, account: Account, owner_bits: int) -> None:
    """Add to `path` those of the bits, given as the owner's, that its class for `account` lacks."""
    status = path.stat()
    shift = 0 if status.st_uid == account.uid else 3 if status.st_gid == account.gid else 6
    wanted = owner_bits >> shift
    if status.st_mode & wanted != wanted:
        path.chmod(stat.S_IMODE(status.st_mode) | wanted)


def _by_id(uid: int) -> Account:
    try:
        entry = pwd.getpwuid(uid)
    except KeyError as missing:
        raise EmbeddedDatabaseError(
            f"The embedded database would run as user id {uid}, which has no name on this system, and "
            "PostgreSQL needs one. Run as a named user, or set DATABASE_URL to a PostgreSQL."
        ) from missing
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)


def _system_user() -> Account:
    """Return the system user kept for the server, making it if it is missing."""
    try:
        return _by_name(SYSTEM_USER)
    except KeyError:
        _make_system_user()
    try:
        return _by_name(SYSTEM_USER)
    except KeyError as missing:
        raise EmbeddedDatabaseError(
            f"PostgreSQL does not run as root, and its own user {SYSTEM_USER!r} cannot be made here. "
            "Make that user, run as another one, or set DATABASE_URL to a PostgreSQL."
        ) from missing


def _by_name(name: str) -> Account:
    entry = pwd.getpwnam(name)
    return Account(entry.pw_name, entry.pw_uid, entry.pw_gid)


def _make_system_user() -> None:
    # root's PATH lacks the folders of administration commands in some bare containers.
    useradd = shutil.which("useradd") or shutil.which("useradd", path="/usr/sbin:/sbin")
    if useradd:
        options = ["--system", "--user-group", "--no-create-home", "--shell", "/usr/sbin/nologin"]
        # Its result is judged by looking the user up: another process may have made it meanwhile.
        subprocess.run([useradd, *options, SYSTEM_USER], capture_output=True, check=False)
