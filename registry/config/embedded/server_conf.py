"""The server's settings: for one small machine, reached through its socket only, losing nothing."""

import os
import pwd
import sys
from pathlib import Path

from registry.config.embedded.account import Account

_SETTINGS = {
    "listen_addresses": "",
    "port": "5432",
    "hba_file": "hba.conf",
    "ident_file": "ident.conf",
    "max_connections": "150",
    "shared_buffers": "128MB",
    "effective_cache_size": "1GB",
    "fsync": "on",
    "synchronous_commit": "on",
    "full_page_writes": "on",
    "max_wal_size": "1GB",
    "jit": "off",  # compiling costs more than it saves on queries of this size
    "timezone": "UTC",
    "log_timezone": "UTC",
    "log_checkpoints": "off",
    "lc_messages": "C",
}
# How the thousand files of a new or crashed cluster are made durable: in one call where there is one.
SYNC_METHOD = "syncfs" if sys.platform == "linux" else "fsync"
_MAP = "vacuary"


def write_configuration(folder: Path, socket_folder: Path, account: Account) -> None:
    """Write server.conf, hba.conf and ident.conf into `folder`, for a server run by `account`.

    Nobody signs in by password: the kernel tells the server which user is at the other end of the socket, and
    only the server's own user, the user writing this, and root are let in.
    """
    settings = {
        **_SETTINGS,
        "recovery_init_sync_method": SYNC_METHOD,
        "unix_socket_directories": _listed(str(socket_folder)),
    }
    lines = [f"{name} = {_quoted(value)}" for name, value in settings.items()]
    _write(folder / "server.conf", lines)
    _write(folder / "hba.conf", [f"local all all peer map={_MAP}"])
    people = {account.name, pwd.getpwuid(os.geteuid()).pw_name, pwd.getpwuid(0).pw_name}
    pairs = [(person, role) for person in sorted(people) for role in ("postgres", "vacuary")]
    _write(folder / "ident.conf", [f'{_MAP} "{person}" "{role}"' for person, role in pairs])


def _quoted(value: str) -> str:
    escaped = value.replace("\\", "\\\\").replace("'", "''")
    return f"'{escaped}'"


def _listed(value: str) -> str:
    """Quote a name in a list of names, where commas and spaces would part it."""
    escaped = value.replace('"', '""')
    return f'"{escaped}"'


def _write(path: Path, lines: list[str]) -> None:
    """Write the file new: the server's user must read it, and an old one may belong to somebody else."""
    draft = path.with_suffix(".draft")
    draft.unlink(missing_ok=True)
    draft.write_text("\n".join([*lines, ""]), encoding="utf-8")
    draft.chmod(0o644)
    draft.replace(path)
