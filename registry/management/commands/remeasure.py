"""manage.py remeasure: measure all stored traces under another edition, report, and switch."""

import json
import os
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError

from registry.config import lifeline
from registry.config.supervision import Child, Supervisor
from registry.errors import DomainError
from registry.intake.remeasuring.completing import complete
from registry.intake.remeasuring.jobs import Progress, ask_for, progress
from registry.intake.remeasuring.report import Report, report
from registry.intake.remeasuring.rows import bring_edition, forget_passing
from registry.intake.remeasuring.switch import Switched, switch
from registry.intake.remeasuring.text import report_text
from registry.intake.remeasuring.waiting import NoProgress, wait
from registry.intake.tasks import REMEASURING
from registry.waveform.warm import warm

_TELL_EVERY_S = 10.0  # where standard error is no terminal


class Command(BaseCommand):
    """Safe to kill and to start again: what is measured stays, what is not is asked for again."""

    help = "Measure all stored traces under another edition beside the current one; report; switch."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the options."""
        what = parser.add_mutually_exclusive_group(required=True)
        what.add_argument("--edition", type=int, metavar="N", help="the edition to measure under")
        what.add_argument("--work", action="store_true", help="only work on what is asked for, until stopped")
        parser.add_argument(
            "--workers",
            type=_count,
            default=os.cpu_count() or 1,
            metavar="K",
            help="processes to start here, 0 to leave it to workers elsewhere (default: all cores)",
        )
        parser.add_argument("--portion", type=_some, default=50, help="runs a job (default %(default)s)")
        parser.add_argument("--wait", action="store_true", help="with --workers 0: wait for the others")
        parser.add_argument("--report", action="store_true", help="say what moved and by how much")
        parser.add_argument("--switch", action="store_true", help="then make N the current edition")
        parser.add_argument("--json", action="store_true", help="print one JSON object")

    def handle(self, *args: Any, **options: Any) -> None:
        """Measure, report and switch as asked. Raises CommandError when it cannot be finished."""
        if options["work"]:
            work()
            return
        number = options["edition"]
        try:
            bring_edition(number)
            self._measure(number, options)
            found = report(number) if options["report"] else None
            done = switch(number) if options["switch"] else None
        except KeyError as error:
            raise CommandError(str(error.args[0])) from error
        except NoProgress as error:
            raise CommandError(f"{error}; see the log above and that of other workers.") from error
        except DomainError as error:
            raise CommandError(f"{error}. {error.hint}".strip()) from error
        self._say(number, found, done, as_json=options["json"])

    def _measure(self, number: int, options: dict[str, Any]) -> None:
        forget_passing(number)
        if completed := complete(number):
            self.stderr.write(f"edition {number}: filled in the cycles of {completed} runs")
        asked = ask_for(number, options["portion"])
        is_left = progress(number).left > 0
        if not is_left or not (options["workers"] or options["wait"] or options["switch"]):
            self.stderr.write(
                f"edition {number}: {asked} portions asked for" if is_left else "nothing is left"
            )
            return
        line = _Line(number)
        with local_workers(options["workers"], self.stderr.write) as supervisor:

            def tell(now: Progress) -> None:
                supervisor.revive()
                line.show(now)

            wait(number, options["portion"], tell)

    def _say(self, number: int, found: Report | None, done: Switched | None, *, as_json: bool) -> None:
        if as_json:
            document: dict[str, Any] = {"edition": number, "left": progress(number).left}
            if found:
                document["report"] = found.as_dict()
            if done:
                document["switched"] = vars(done)
            self.stdout.write(json.dumps(document))
            return
        if found:
            self.stdout.write(report_text(found))
        if done and done.old == done.new:
            self.stdout.write(f"Edition {done.new} is current already.")
        elif done:
            self.stdout.write(
                f"Edition {done.new} is current now, {done.old} before. "
                f"{done.held} runs are held by it, {done.freed} set free."
            )


def work() -> None:
    """Work on queued portions until SIGTERM or Ctrl-C, or until the process that started this one is gone."""
    lifeline.follow(stop=os.getpid())
    warm()
    # A finished portion says nothing that the runs' own rows do not.
    call_command("procrastinate", "worker", "--queues", REMEASURING, "--delete-jobs", "successful")


@contextmanager
def local_workers(count: int, say: Any) -> Iterator[Supervisor]:
    """Keep worker processes running here; whoever waits calls `revive` now and then."""
    command = [sys.executable, str(settings.ROOT / "manage.py"), "remeasure", "--work"]
    supervisor = Supervisor([Child(f"worker {n}", command) for n in range(1, count + 1)], say)
    # One process a core is what is asked for: threads inside the numerics would only stand in their way.
    for library in ("OPENBLAS", "OMP", "MKL"):
        os.environ.setdefault(f"{library}_NUM_THREADS", "1")
    try:
        supervisor.revive()
        yield supervisor
    finally:
        supervisor.stop()


class _Line:
    """The progress line: drawn over itself on a terminal, else written now and then."""

    def __init__(self, number: int) -> None:
        self._number = number
        self._begun: tuple[float, int] | None = None
        self._told = 0.0

    def show(self, now: Progress) -> None:
        moment = time.monotonic()
        self._begun = self._begun or (moment, now.left)
        on_terminal = sys.stderr.isatty()
        if not on_terminal and now.left and moment - self._told < _TELL_EVERY_S:
            return
        self._told = moment
        start, left = self._begun
        rate = max(left - now.left, 0) / max(moment - start, 1e-9)
        rest = f", {rate:.0f} runs/s, {now.left / rate:.0f} s to go" if rate and now.left else ""
        text = f"edition {self._number}: {now.runs - now.left} of {now.runs} runs measured{rest}"
        end = "\r" if on_terminal and now.left else "\n"
        sys.stderr.write(f"{text:<79}{end}" if on_terminal else f"{text}\n")
        sys.stderr.flush()


def _count(said: str) -> int:
    if not said.isdecimal() or int(said) > 100_000:
        raise ArgumentTypeError("must be a whole number, 0 or more")
    return int(said)


def _some(said: str) -> int:
    if _count(said) == 0:
        raise ArgumentTypeError("must be a whole number, 1 or more")
    return int(said)
