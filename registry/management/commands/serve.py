"""Run the whole server on one machine: web server, queue worker, and the database if it is embedded."""

import argparse
import itertools
import signal
import socket
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any, NoReturn

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError, connection
from django.db.migrations.executor import MigrationExecutor
from psycopg.pq import Ping

from registry.config import embedded
from registry.config.listening import AddressError, address_of, answers, take_address
from registry.config.supervision import Child, Supervisor

_PORT_WAIT_S = 10.0
_PAUSE_S = 0.1
_DATABASE_CHECK_TICKS = 20
_MOST_FAILED_STARTS = 4
_MIGRATION_LOCK = 0x76616375  # one server at a time migrates a shared database


class StopAsked(BaseException):
    """SIGTERM or Ctrl-C came. Not an Exception, so that nothing on the way takes it for an error."""


class Stop:
    """Handler of signals that ask to stop: raises StopAsked wherever the program is, and remembers it.

    What is raised within a finalizer is lost, so whoever goes on for long looks at every pause as well.
    """

    def __init__(self) -> None:
        self.asked = False

    def __call__(self, number: int, frame: FrameType | None) -> NoReturn:
        self.asked = True
        raise StopAsked

    def pause(self) -> None:
        """Wait a moment. Raises StopAsked if a signal came, now or before."""
        time.sleep(_PAUSE_S)
        if self.asked:
            raise StopAsked


class Command(BaseCommand):
    """Starts everything, says when the server really answers, and keeps it running until told to stop."""

    help = "Run the web server and the queue worker, on the embedded database unless DATABASE_URL is set."
    # The database may be new, so nothing can be asked of it before it is migrated.
    requires_system_checks: list[str] = []  # noqa: RUF012 (Django's own way to say it)

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare the options."""
        parser.add_argument("--host", default="127.0.0.1", help="address to listen on (%(default)s)")
        parser.add_argument("--port", type=int, default=8000, help="port, 0 for any free one (%(default)s)")
        parser.add_argument("--workers", type=int, default=2, help="number of web processes (%(default)s)")
        parser.add_argument("--no-worker", action="store_true", help="run no queue worker here")

    def handle(self, *args: Any, **options: Any) -> None:
        """Serve until SIGTERM or Ctrl-C, then stop everything. Raises CommandError if it cannot start."""
        try:
            with (
                stop_signals() as stop,
                take_address(options["host"], options["port"], _PORT_WAIT_S) as listener,
            ):
                _migrate_if_needed()
                self._serve(listener, stop, options["workers"], with_worker=not options["no_worker"])
        except StopAsked:
            return
        except AddressError as failure:
            raise CommandError(str(failure)) from failure
        except OperationalError as failure:
            raise CommandError(f"The database cannot be reached. {failure}") from failure

    def _serve(self, listener: socket.socket, stop: Stop, workers: int, *, with_worker: bool) -> None:
        """Keep the children running and the embedded database up; never returns but by an exception."""
        web = _web(listener, workers)
        others = [_worker()] if with_worker else []
        supervisor = Supervisor([web, *others], self.stderr.write)
        try:
            self._wait_until_it_answers(supervisor, web, listener, stop)
            self.stdout.write(f"Vacuary answers at {address_of(listener)}/")
            self.stdout.flush()
            for tick in itertools.count():
                supervisor.revive()
                if tick % _DATABASE_CHECK_TICKS == 0 and self._database_was_restarted():
                    for child in others:
                        child.signal(signal.SIGTERM)  # it lost its listening connection and would only poll
                stop.pause()
        finally:
            supervisor.stop()

    def _wait_until_it_answers(
        self, supervisor: Supervisor, web: Child, listener: socket.socket, stop: Stop
    ) -> None:
        while True:
            supervisor.revive()
            if answers(listener):
                return
            if web.deaths >= _MOST_FAILED_STARTS:
                raise CommandError("The web server does not start; its messages above say why.")
            stop.pause()

    def _database_was_restarted(self) -> bool:
        """Start the embedded database again if it was killed, and tell whether that was needed and done."""
        home = settings.VACUARY_HOME
        if not _is_embedded() or embedded.Cluster(home).ping() is Ping.OK:
            return False
        try:
            embedded.ensure_running(home)
        except embedded.EmbeddedDatabaseError as failure:
            self.stderr.write(str(failure))
            return False
        return True


@contextmanager
def stop_signals() -> Iterator[Stop]:
    """Turn SIGTERM, Ctrl-C and a closed terminal into StopAsked for a while."""
    stop = Stop()
    numbers = [signal.SIGTERM, signal.SIGINT]
    if signal.getsignal(signal.SIGHUP) is not signal.SIG_IGN:  # which is how nohup keeps a program running
        numbers.append(signal.SIGHUP)
    before = {number: signal.signal(number, stop) for number in numbers}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _is_embedded() -> bool:
    return bool(settings.DATABASES["default"]["ENGINE"] == "registry.config.postgresql")


def _web(listener: socket.socket, workers: int) -> Child:
    """Return the web server, which takes over the listening socket: a restart loses no connection."""
    command = [sys.executable, "-m", "gunicorn", "--config", "python:registry.config.web"]
    options = [
        "--chdir",
        str(settings.ROOT),
        "--bind",
        f"fd://{listener.fileno()}",
        "--workers",
        str(workers),
    ]
    return Child("web", command + options, [listener.fileno()])


def _worker() -> Child:
    return Child("worker", [sys.executable, str(settings.ROOT / "manage.py"), "worker"])


def _migrate_if_needed() -> None:
    """Bring the database to the current migrations; several servers may start on it at once."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_lock(%s)", [_MIGRATION_LOCK])
        executor = MigrationExecutor(connection)
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            call_command("migrate", interactive=False, verbosity=0)
    finally:
        connection.close()
