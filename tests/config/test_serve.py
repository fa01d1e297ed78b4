"""`manage.py serve` as a person meets it: starts, answers, survives kills, restarts at once, ends cleanly."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from registry.config import listening
from registry.management.commands import serve
from tests import serving
from tests.config.conftest import stopped
from tests.config.processes import is_running, server_pid, wait_for

ROOT = Path(__file__).resolve().parents[2]


class Server:
    """A server started by `manage.py serve`. Leaving the context ends it the hard way if it still runs."""

    def __init__(self, home: Path, port: int = 0, **more: str) -> None:
        environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
        command = [sys.executable, str(ROOT / "manage.py"), "serve", "--port", str(port), "--workers", "1"]
        self.popen = subprocess.Popen(
            command,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={**environment, "VACUARY_HOME": str(home), "XDG_RUNTIME_DIR": "", **more},
        )

    def __enter__(self) -> "Server":
        return self

    def __exit__(self, *_: object) -> None:
        if self.popen.poll() is None:
            self.popen.kill()
        self.popen.communicate()

    def address(self) -> str:
        """Return the address it prints once it answers, or fail with what it complained about."""
        assert self.popen.stdout
        line = self.popen.stdout.readline()
        found = re.fullmatch(r"Vacuary answers at (http://127\.0\.0\.1:\d+)/\n", line)
        assert found, (line, self.popen.communicate())
        return found[1]

    def family(self) -> set[int]:
        """Return the ids of its children and their children."""
        return descendants(self.popen.pid)


def descendants(pid: int) -> set[int]:
    try:
        children = {int(child) for child in Path(f"/proc/{pid}/task/{pid}/children").read_text().split()}
    except FileNotFoundError:
        return set()
    return children.union(*(descendants(child) for child in children))


def healthy(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/api/v1/health", timeout=5) as response:
            return bool(json.load(response)["status"] == "ok")
    except (OSError, ValueError):
        return False


def drop_one(listener: socket.socket) -> None:
    """Accept a connection and close it without a word."""
    connection, _ = listener.accept()
    connection.close()


def port_of(address: str) -> int:
    return int(address.rsplit(":", 1)[1])


def test_a_killed_server_restarts_at_once_and_the_next_ends_cleanly(new_home: Path) -> None:
    with Server(new_home) as first:
        address = first.address()
        assert healthy(address)
        orphans = first.family()
        first.popen.kill()
        with Server(new_home, port_of(address)) as second:
            assert second.address() == address
            assert healthy(address)
            assert wait_for(lambda: not any(map(is_running, orphans)))
            family = second.family()
            second.popen.send_signal(signal.SIGTERM)
            _, complaints = second.popen.communicate(timeout=serving.LONGEST_STOP_S)
    assert (second.popen.returncode, complaints.replace("Launching a worker on all queues\n", "")) == (0, "")
    assert len(family) >= 3  # the web server, its process, the queue worker
    assert not any(Path(f"/proc/{pid}").exists() for pid in family)
    assert stopped(new_home)


def test_what_is_killed_below_it_comes_back(home: Path) -> None:
    with Server(home) as server:
        address = server.address()
        before = server.family()
        for pid in before:
            os.kill(pid, signal.SIGKILL)
        os.kill(server_pid(home), signal.SIGKILL)
        assert wait_for(lambda: len(server.family() - before) >= 3)
        assert wait_for(lambda: healthy(address))
        server.popen.send_signal(signal.SIGINT)
        _, complaints = server.popen.communicate(timeout=serving.LONGEST_STOP_S)
    assert server.popen.returncode == 0
    assert "The web process ended with code -9; starting it again" in complaints
    assert "The worker process ended with code -9; starting it again" in complaints
    assert stopped(home)


def test_a_taken_port_is_said_before_anything_is_started(
    new_home: Path, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.VACUARY_HOME = new_home
    monkeypatch.setattr(serve, "_PORT_WAIT_S", 0.2)
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(CommandError, match=rf"Port {port} on 127\.0\.0\.1 is taken.*--port"):
            call_command("serve", port=port)
    assert list(new_home.iterdir()) == []
    assert signal.getsignal(signal.SIGTERM) == signal.SIG_DFL


def test_a_port_that_becomes_free_is_waited_for() -> None:
    other = socket.create_server(("127.0.0.1", 0))
    port = other.getsockname()[1]
    threading.Timer(0.3, other.close).start()
    started = time.monotonic()
    with listening.take_address("127.0.0.1", port, 10) as listener:
        assert listener.getsockname()[1] == port
    assert 0.2 < time.monotonic() - started < 5


def test_an_address_that_is_not_ours_is_named() -> None:
    with pytest.raises(listening.AddressError, match=r"cannot listen on 192\.0\.2\.1, port 0"):
        listening.take_address("192.0.2.1", 0, 0)


def test_a_listener_without_a_server_behind_it_does_not_count_as_answering() -> None:
    with listening.take_address("127.0.0.1", 0, 0) as listener:
        threading.Timer(0.1, drop_one, [listener]).start()
        assert not listening.answers(listener)


def test_a_web_server_that_never_starts_is_given_up(home: Path) -> None:
    with Server(home, GUNICORN_CMD_ARGS="--worker-class=none") as server:
        _, complaints = server.popen.communicate(timeout=120)
    assert server.popen.returncode == 1
    assert "The web server does not start; its messages above say why." in complaints


def test_a_stop_asked_for_while_something_is_finalized_is_not_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    class AsksToStop:
        def __del__(self) -> None:
            signal.raise_signal(signal.SIGTERM)

    lost: list[object] = []
    monkeypatch.setattr(sys, "unraisablehook", lambda unraisable: lost.append(unraisable.exc_type))
    with serve.stop_signals() as stop:
        held = AsksToStop()
        del held
        assert lost == [serve.StopAsked]
        with pytest.raises(serve.StopAsked):
            stop.pause()
