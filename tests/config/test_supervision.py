"""Children are started again, stopped, and never outlive their supervisor."""

import os
import signal
import sys
import time
from pathlib import Path

import pytest

from registry.config import supervision
from registry.config.supervision import Child, Supervisor
from tests.config.processes import Process, is_running, wait_for

SLEEPS = [sys.executable, "-c", "import time; time.sleep(60)"]
STUBBORN = """
import signal, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
print("deaf", end="", flush=True)
time.sleep(60)
"""

SUPERVISES = """
import os, sys, time
from registry.config.supervision import Child, Supervisor
child = "import os, time; from registry.config import lifeline; lifeline.follow(stop=os.getpid()); "
child += "print(os.getpid(), flush=True); time.sleep(60)"
supervisor = Supervisor([Child("child", [sys.executable, "-c", child])], print)
supervisor.revive()
time.sleep(60)
"""


@pytest.fixture
def said() -> list[str]:
    return []


def test_a_dead_child_is_started_again_after_growing_pauses(
    said: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(supervision, "_FIRST_PAUSE_S", 0.1)
    child = Child("short", [sys.executable, "-c", "raise SystemExit(3)"])
    supervisor = Supervisor([child], said.append)
    deadline = time.monotonic() + 20
    while len(said) < 3 and time.monotonic() < deadline:
        supervisor.revive()
        time.sleep(0.005)
    supervisor.stop()
    assert [line.split(" in ")[0] for line in said[:3]] == [
        "The short process ended with code 3; starting it again"
    ] * 3
    assert [line.split(" in ")[1] for line in said[:3]] == ["0.1 s.", "0.2 s.", "0.4 s."]
    assert child.quick_deaths >= 3
    assert child.deaths == len(said)


def test_the_pause_is_bounded() -> None:
    child = Child("short", [])
    child.quick_deaths = 50
    child.started = time.monotonic()
    child.process = FinishedProcess()  # type: ignore[assignment]
    child.reap()
    assert child.pause == supervision.LONGEST_PAUSE_S


class FinishedProcess:
    """A process that has ended."""

    def poll(self) -> int:
        return 1


def test_stopping_ends_and_reaps_every_child(said: list[str]) -> None:
    children = [Child("a", SLEEPS), Child("b", SLEEPS)]
    supervisor = Supervisor(children, said.append)
    supervisor.revive()
    processes = [child.process for child in children if child.process]
    supervisor.stop()
    assert [process.returncode for process in processes] == [-signal.SIGTERM] * 2
    assert not any(Path(f"/proc/{process.pid}").exists() for process in processes)


def test_a_child_deaf_to_the_request_is_killed(said: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(supervision, "STOP_S", 0.3)
    reading, writing = os.pipe()
    child = Child("deaf", [sys.executable, "-c", f"import os; os.dup2({writing}, 1)\n{STUBBORN}"], [writing])
    supervisor = Supervisor([child], said.append)
    supervisor.revive()
    os.close(writing)
    assert os.read(reading, 4) == b"deaf"
    os.close(reading)
    process = child.process
    assert process
    supervisor.stop()
    assert process.returncode == -signal.SIGKILL


def test_children_end_when_their_supervisor_is_killed() -> None:
    with Process(SUPERVISES) as supervisor:
        child = int(supervisor.line())
        assert is_running(child)
        supervisor.kill()
        assert wait_for(lambda: not is_running(child))
