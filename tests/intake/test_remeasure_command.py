"""manage.py remeasure as a process, with workers of its own, killed and started again."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import psutil
import psycopg
import pytest

from registry.config import embedded
from tests import serving
from tests.config.conftest import temporary_home
from tests.config.processes import wait_for

SETTINGS = "tests.two_editions"
RUNS = 80
STORE = f"""
from registry.intake.receive import receive
from tests import community
from tests.declared import provenance
from tests.traces import trace_bytes
community.catalogue()
who = community.operator()
for n in range({RUNS}):
    receive(trace_bytes(seed=n), provenance(serial=f"LK{{n // 4:06d}}", level=n % 2), who)
"""
TELL = """
import json
from registry.models import Edition, Finding, Measurement, RunEdition, UnitSummary
print(json.dumps({
    "done": RunEdition.objects.filter(edition=2).count(),
    "values": Measurement.objects.filter(edition=2).count(),
    "summaries": sum(s.count for s in UnitSummary.objects.filter(edition=2, metric="duty_factor")),
    "current": Edition.objects.get(is_current=True).number,
}))
"""


def manage(home: Path, *arguments: str) -> "subprocess.Popen[str]":
    """Start a command of manage.py in a session of its own."""
    return subprocess.Popen(
        [sys.executable, "manage.py", *arguments],
        cwd=serving.ROOT,
        env=serving.environment(home, SETTINGS),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def done(home: Path, *arguments: str) -> str:
    """Run a command to its end and return what it printed."""
    process = manage(home, *arguments)
    out, errors = process.communicate(timeout=120)
    assert process.returncode == 0, errors
    return out


def told(home: Path) -> dict[str, int]:
    answer: dict[str, int] = json.loads(done(home, "shell", "--no-imports", "-c", TELL))
    return answer


def rows(home: Path) -> int:
    """How many runs are done under the second edition."""
    where = {"host": str(embedded.ensure_running(home)), "port": embedded.PORT, "user": embedded.ROLE}
    with psycopg.connect(dbname="vacuary", **where) as connection:
        found = connection.execute("SELECT count(*) FROM registry_runedition WHERE edition_id = 2").fetchone()
    return int(found[0])


def kill_all(process: "subprocess.Popen[str]") -> None:
    """SIGKILL the command and every process it started."""
    for one in [*psutil.Process(process.pid).children(recursive=True), psutil.Process(process.pid)]:
        if "postgres" not in one.name():
            one.send_signal(signal.SIGKILL)
    process.communicate(timeout=30)


@pytest.fixture(scope="module")
def home():
    """A registry of RUNS runs."""
    with temporary_home() as folder:
        folder.chmod(0o755)
        done(folder, "migrate", "--verbosity", "0")
        done(folder, "shell", "--no-imports", "-c", STORE)
        yield folder


@pytest.mark.timeout(240)
def test_killed_and_started_again_it_measures_every_run_once_and_switches(home):
    start = ("remeasure", "--edition", "2", "--workers", "2", "--portion", "4")
    first = manage(home, *start)
    assert wait_for(lambda: rows(home) > 0, 60)
    kill_all(first)
    assert rows(home) < RUNS

    out = done(home, *start, "--report", "--switch", "--json")
    answer = json.loads(out)
    assert answer["left"] == 0
    assert answer["report"]["measured"] == RUNS
    assert answer["switched"] == {"old": 1, "new": 2, "held": 0, "freed": 0, "stragglers": 0}
    assert told(home) == {"done": RUNS, "values": 15 * RUNS, "summaries": RUNS, "current": 2}


def test_with_nothing_left_it_says_so_and_starts_nothing(home):
    process = manage(home, "remeasure", "--edition", "2", "--report")
    out, errors = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "nothing is left" in errors
    assert f"Edition 2 against 1: {RUNS} of {RUNS} runs measured" in out


@pytest.mark.parametrize(
    ("arguments", "complaint"),
    [
        (["--edition", "9"], "no edition 9; known: 1, 2"),
        ([], "one of the arguments --edition --work is required"),
        (["--edition", "2", "--workers", "-1"], "must be a whole number"),
        (["--edition", "2", "--portion", "0"], "must be a whole number"),
    ],
)
def test_what_cannot_be_meant_is_refused(home, arguments, complaint):
    process = manage(home, "remeasure", *arguments)
    _, errors = process.communicate(timeout=60)
    assert process.returncode != 0
    assert complaint in errors
    assert "Traceback" not in errors


def test_without_workers_it_asks_and_leaves_and_a_worker_elsewhere_does_it(home):
    done(home, "remeasure", "--edition", "1", "--workers", "0")
    more = STORE.replace("seed=n", "seed=1000 + n").replace(f"range({RUNS})", "range(3)")
    done(home, "shell", "--no-imports", "-c", more)
    done(home, "remeasure", "--edition", "1", "--workers", "0", "--portion", "50")
    elsewhere = manage(home, "remeasure", "--work")
    try:
        answer = json.loads(done(home, "remeasure", "--edition", "1", "--workers", "0", "--wait", "--json"))
        assert answer == {"edition": 1, "left": 0}
    finally:
        elsewhere.terminate()
        elsewhere.communicate(timeout=30)
