"""A real server in a folder of its own, for as long as a measurement lasts."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil

from registry.config.supervision import STOP_S

ROOT = Path(__file__).resolve().parents[1]
# Children get STOP_S, and the database, which makes some 800 files durable one by one, as long as it gives
# itself: on a disk that others keep busy too, each of them may take a tenth of a second.
LONGEST_STOP_S = STOP_S + 90.0


def environment(home: Path, settings: str = "registry.config.settings") -> dict[str, str]:
    """Return the environment of a server, or of a command beside it, that keeps everything in `home`.

    A database named for the tests is left out: what these processes store must never reach it.
    """
    inherited = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    return {**inherited, "VACUARY_HOME": str(home), "DJANGO_SETTINGS_MODULE": settings}


@contextmanager
def running(home: Path, settings: str = "registry.config.settings", port: int = 0) -> Iterator[str]:
    """Serve from `home` and yield the address; the server is stopped afterwards."""
    process = start(home, settings, port)
    try:
        yield address_of(process)
    finally:
        stop(process)


def stop(process: "subprocess.Popen[str]") -> None:
    """Ask the server to stop and wait until it has. Kills one that does not and tells what it was at."""
    process.send_signal(signal.SIGTERM)
    try:
        process.communicate(timeout=LONGEST_STOP_S)
    except subprocess.TimeoutExpired:
        everyone = [psutil.Process(process.pid), *psutil.Process(process.pid).children(recursive=True)]
        at = [f"{one.pid} {one.status()} {one.cpu_times().user:.1f} s {one.cmdline()}" for one in everyone]
        for one in everyone:
            one.kill()
        process.communicate()
        raise AssertionError("\n".join([f"not ended after {LONGEST_STOP_S:.0f} s:", *at])) from None


def start(home: Path, settings: str, port: int) -> "subprocess.Popen[str]":
    """Start a server; `address_of` waits until it answers."""
    command = [sys.executable, "manage.py", "serve", "--port", str(port)]
    return subprocess.Popen(
        command, cwd=ROOT, env=environment(home, settings), stdout=subprocess.PIPE, text=True
    )


def address_of(process: "subprocess.Popen[str]") -> str:
    """Return the address a started server says it answers at."""
    assert process.stdout is not None
    for line in process.stdout:
        if "answers at" in line:
            return line.split()[-1].rstrip("/")
    raise RuntimeError("the server ended before it answered")


def token(home: Path, clinic: str, operator: str, *, curator: bool = False) -> str:
    """Enrol an operator at the server of `home` and return a token."""
    command = [sys.executable, "manage.py", "enrol", "--clinic", clinic, "--operator", operator, "--json"]
    done = subprocess.run(
        command + ["--curator"] * curator,
        cwd=ROOT,
        env=environment(home),
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return str(json.loads(done.stdout)["token"])
