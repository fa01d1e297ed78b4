"""Keeps child processes running while they are wanted: starts the dead again, stops all cleanly."""

import os
import signal
import subprocess
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from registry.config import lifeline

QUICK_DEATH_S = 10.0
LONGEST_PAUSE_S = 30.0
STOP_S = 30.0
_FIRST_PAUSE_S = 0.5


class Child:
    """One program that is to run all the time."""

    def __init__(self, name: str, command: Sequence[str], descriptors: Sequence[int] = ()) -> None:
        self.name = name
        self.command = list(command)
        self.descriptors = tuple(descriptors)
        self.process: subprocess.Popen[bytes] | None = None
        self.deaths = 0
        self.quick_deaths = 0
        self.started = 0.0
        self.pause = 0.0
        self.due = 0.0

    def start(self, lifeline_end: int) -> None:
        """Start the program in a session of its own: a Ctrl-C reaches the supervisor alone, which decides."""
        self.started = time.monotonic()
        self.process = subprocess.Popen(
            self.command,
            stdin=subprocess.DEVNULL,
            env={**os.environ, lifeline.VARIABLE: str(lifeline_end)},
            pass_fds=(*self.descriptors, lifeline_end),
            start_new_session=True,
        )

    def reap(self) -> int | None:
        """Return the exit code if the program has ended since it was started, and say when it is due again.

        The pause doubles with each death soon after a start, up to LONGEST_PAUSE_S.
        """
        code = self.process.poll() if self.process else None
        if code is None:
            return None
        now = time.monotonic()
        self.process = None
        self.deaths += 1
        self.quick_deaths = self.quick_deaths + 1 if now - self.started < QUICK_DEATH_S else 1
        self.pause = min(LONGEST_PAUSE_S, _FIRST_PAUSE_S * 2.0 ** (self.quick_deaths - 1))
        self.due = now + self.pause
        return code

    def signal(self, number: signal.Signals) -> None:
        """Send a signal to the program: SIGKILL to all it started too, anything else to itself alone."""
        if self.process is None:
            return
        with suppress(ProcessLookupError):
            if number is signal.SIGKILL:
                os.killpg(self.process.pid, number)
            else:
                self.process.send_signal(number)


class Supervisor:
    """Keeps a few children running. `say` receives one line whenever one of them died."""

    def __init__(self, children: Sequence[Child], say: Callable[[str], None]) -> None:
        self.children = list(children)
        self._say = say
        # The writing end is closed by the kernel when this process ends, and by nobody else.
        self._lifeline, self._kept_open = os.pipe()

    def revive(self) -> None:
        """Start every child that does not run and is due."""
        for child in self.children:
            code = child.reap()
            if code is not None:
                again = f"starting it again in {child.pause:.1f} s"
                self._say(f"The {child.name} process ended with code {code}; {again}.")
            if child.process is None and time.monotonic() >= child.due:
                child.start(self._lifeline)

    def stop(self) -> None:
        """Ask every child to stop, wait up to STOP_S for all of them, kill what is left, reap everything."""
        for child in self.children:
            child.signal(signal.SIGTERM)
        deadline = time.monotonic() + STOP_S
        try:
            for process in self._running():
                with suppress(subprocess.TimeoutExpired):
                    process.wait(max(0.0, deadline - time.monotonic()))
        finally:
            self._kill()
            os.close(self._lifeline)
            os.close(self._kept_open)

    def _kill(self) -> None:
        for child in self.children:
            child.signal(signal.SIGKILL)
        for process in self._running():
            process.wait()

    def _running(self) -> list[subprocess.Popen[bytes]]:
        return [child.process for child in self.children if child.process is not None]
