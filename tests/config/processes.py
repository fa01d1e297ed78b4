"""Other processes on an embedded database, started and ended from a test."""

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

import psycopg

from registry.config import embedded

HOLD = """
import sys
from pathlib import Path
from registry.config import embedded
print(embedded.ensure_running(Path(sys.argv[1])), flush=True)
sys.stdin.read()
"""


class Process:
    """A Python program running beside the test. Leaving the context kills it if it still runs."""

    def __init__(self, program: str, *arguments: str | Path, **environment: str | None) -> None:
        merged = {**os.environ, **environment}
        self.popen = subprocess.Popen(
            [sys.executable, "-W", "error", "-c", program, *map(str, arguments)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env={name: value for name, value in merged.items() if value is not None},
        )

    def __enter__(self) -> "Process":
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.kill()

    def line(self) -> str:
        """Return the next line it prints, or its complaints when it ended without one."""
        assert self.popen.stdout
        assert self.popen.stderr
        line: str = self.popen.stdout.readline().strip()
        assert line, self.popen.stderr.read()
        return line

    def finish(self) -> tuple[int, str]:
        """Close its stdin, which ends it of itself; return its exit code and what it wrote to stderr."""
        _, complaints = self.popen.communicate(timeout=120)
        return self.popen.returncode, complaints

    def kill(self) -> None:
        """End it by SIGKILL if it still runs."""
        if self.popen.poll() is None:
            self.popen.kill()
        for stream in (self.popen.stdin, self.popen.stdout, self.popen.stderr):
            if stream and not stream.closed:
                stream.close()
        self.popen.wait()


def holder(home: Path, **environment: str | None) -> Process:
    """Start a process that holds the cluster in `home` until it is ended; it prints the socket's folder."""
    return Process(HOLD, home, **environment)


def server_pid(home: Path) -> int:
    """Return the process id in the server's own pid file."""
    return int((home / "postgres" / "data" / "postmaster.pid").read_text().split("\n", 1)[0])


def connect(folder: str | Path) -> psycopg.Connection:
    """Connect as the application does."""
    return psycopg.connect(host=str(folder), port=embedded.PORT, user="vacuary", dbname="vacuary")


def is_running(pid: int) -> bool:
    """Tell whether a process runs; one that has ended and awaits its parent's notice does not."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


def wait_for(met: Callable[[], bool], seconds: float = 60.0) -> bool:
    """Tell whether the condition came true within the time."""
    deadline = time.monotonic() + seconds
    while not met() and time.monotonic() < deadline:
        time.sleep(0.02)
    return met()
