"""A Vacuary server as a subprocess, for as long as the demo needs one."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from client_cli.errors import ClientError
from client_cli.session import Session
from seed_demo.driver.home import ROOT, DemoError, demo_home, vacuary_home

START_LIMIT_S = 120.0
STOP_LIMIT_S = 30.0


@contextmanager
def running_server() -> Iterator[str]:
    """Start a server on a free port and give its address once it answers; stop it on the way out.

    Its output goes to server.log in the demo's folder. Raises DemoError with the log's end when it does not
    come up within two minutes.
    """
    address = f"http://127.0.0.1:{_free_port()}"
    log = demo_home() / "server.log"
    with log.open("wb") as sink:
        process = subprocess.Popen(
            [sys.executable, "manage.py", "serve", "--port", address.rsplit(":", 1)[1]],
            cwd=ROOT,
            stdout=sink,
            stderr=subprocess.STDOUT,
            env=os.environ | {"VACUARY_HOME": str(vacuary_home())},
        )
        try:
            _wait_until_healthy(address, process, log)
            yield address
        finally:
            _stop(process)


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_until_healthy(address: str, process: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + START_LIMIT_S
    while time.monotonic() < end:
        if process.poll() is not None:
            raise DemoError(f"The server ended before it answered.\n{_end_of(log)}")
        if healthy(address):
            return
        time.sleep(0.2)
    raise DemoError(f"The server did not answer within {START_LIMIT_S:.0f} s.\n{_end_of(log)}")


def healthy(address: str) -> bool:
    """Whether a Vacuary server answers there and says it is well."""
    try:
        with Session(address, patience_s=0.0) as session:
            return bool(session.get("health").get("status") == "ok")
    except ClientError:
        return False


def _end_of(log: Path) -> str:
    lines = log.read_text(errors="replace").splitlines()
    return "\n".join(["The end of its log:", *(f"  {line}" for line in lines[-20:])])


def _stop(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        process.send_signal(signal.SIGTERM)
    try:
        process.wait(STOP_LIMIT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
