"""Which processes use the cluster: each holds it while it lives, and the last one to leave stops it."""

import atexit
import os
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path

from registry.config.embedded.cluster import Cluster
from registry.config.embedded.errors import EmbeddedDatabaseError
from registry.config.embedded.locks import exclusive, open_lock, try_lock

START_S = 600.0  # recovering after a crash can take minutes
_LEAVE_S = 90.0


@dataclass
class _Hold:
    """This process's hold on one cluster."""

    cluster: Cluster
    users: int  # descriptor of users.lock, held shared
    socket_folder: Path


_holds: dict[Path, _Hold] = {}
_guard = threading.RLock()


def joined(home: Path) -> Path:
    """Return the socket's folder of the cluster in `home`, which this process starts or joins on first call.

    Later calls cost nothing and do not look whether the cluster still runs; `ensure_running` does.
    """
    with _guard:
        hold = _holds.get(home)
        return hold.socket_folder if hold else ensure_running(home)


def ensure_running(home: Path, wait_s: float = START_S) -> Path:
    """Start or join the cluster in `home`, hold it for the life of this process, return its socket's folder.

    Waits up to `wait_s` seconds for other processes and for crash recovery. Raises EmbeddedDatabaseError.
    """
    deadline = time.monotonic() + wait_s
    with _guard:
        hold = _holds.get(home)
        cluster = hold.cluster if hold else Cluster(home)
        cluster.make_folder()
        try:
            with exclusive(cluster.start_lock, deadline):
                return _join(home, cluster, hold, deadline)
        except TimeoutError as late:
            raise EmbeddedDatabaseError(
                f"Another process has been starting the embedded database in {cluster.data} for over "
                f"{wait_s:.0f} s."
            ) from late


def release(home: Path) -> None:
    """Give up this process's hold on the cluster in `home`; stop the cluster if no other process holds it."""
    with _guard:
        hold = _holds.pop(home, None)
        if hold is None:
            return
        try:
            with exclusive(hold.cluster.start_lock, time.monotonic() + _LEAVE_S):
                if try_lock(hold.users):
                    hold.cluster.stop()
        except TimeoutError:
            pass  # somebody is starting it at this moment, so it is in use
        finally:
            os.close(hold.users)


def _join(home: Path, cluster: Cluster, hold: _Hold | None, deadline: float) -> Path:
    """Take the shared hold, then bring the cluster up. Holding `start_lock`, so nobody is stopping it."""
    users = hold.users if hold else open_lock(cluster.users_lock)
    try:
        while not try_lock(users, shared=True):
            time.sleep(0.02)
        socket_folder = cluster.bring_up(deadline)
    except BaseException:
        if hold is None:
            os.close(users)
        raise
    _holds[home] = _Hold(cluster, users, socket_folder)
    return socket_folder


def _release_all() -> None:
    for home in list(_holds):
        try:
            release(home)
        except (OSError, EmbeddedDatabaseError) as failure:
            print(f"The embedded database in {home} was left running: {failure}", file=sys.stderr)  # noqa: T201


def _forget_in_child() -> None:
    """Drop the holds a fork copied: they are the parent's, and a child that connects takes its own."""
    global _guard  # noqa: PLW0603 (a lock copied while another thread held it would never open)
    _guard = threading.RLock()
    for hold in _holds.values():
        os.close(hold.users)
    _holds.clear()


atexit.register(_release_all)
os.register_at_fork(after_in_child=_forget_in_child)
