"""Remeasuring stored traces with two worker processes, beside one."""

import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

import psycopg

from registry.config import embedded
from tests import serving
from tests.bench.table import Row

SETTINGS = "tests.two_editions"
RUNS = 400
ROUNDS = 3
STORE = f"""
from registry.intake.receive import receive
from tests import community
from tests.declared import provenance
from tests.traces import trace_bytes
community.catalogue()
who = community.operator()
for n in range({RUNS}):
    data = trace_bytes(seed=n, seconds=60, hertz=100, rate_cpm=50 + n % 40)
    receive(data, provenance(serial=f"LK{{n // 20:06d}}", level=n % 20), who)
"""
# What makes the second edition unmeasured again; the first edition and its summaries are left.
FORGET = (
    "DELETE FROM registry_unitsummary WHERE edition_id = 2",
    "DELETE FROM registry_measurement WHERE edition_id = 2",
    "DELETE FROM registry_rundetails WHERE edition_id = 2",
    "DELETE FROM registry_finding WHERE edition_id = 2",
    "DELETE FROM registry_runedition",
    "DELETE FROM procrastinate_jobs WHERE queue_name = 'remeasuring'",
    "VACUUM ANALYZE registry_unitsummary, registry_measurement, registry_finding, registry_runedition",
    "VACUUM ANALYZE registry_rundetails",
)
# A worker that does not listen yet would look for its first job some seconds late.
LISTENING = "SELECT count(*) = %s FROM pg_stat_activity WHERE query ILIKE 'LISTEN%%'"


def compare() -> list[Row]:
    """Measure the same 60 s, 100 Hz traces under a second edition by two workers and by one, in turns.

    Workers are up and idle, and the portions queued, before the clock starts.
    """
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        home.chmod(0o755)
        _manage(home, "migrate", "--verbosity", "0")
        _manage(home, "shell", "--no-imports", "-c", STORE)
        rate: dict[int, list[float]] = {1: [], 2: []}
        with _database(home) as database:
            for _ in range(ROUNDS):
                for workers in (2, 1):
                    rate[workers].append(RUNS / _seconds(home, database, workers))
        embedded.release(home)
    two, one = median(rate[2]), median(rate[1])
    return [
        Row(
            "traces remeasured/s, 2 workers",
            f"{two:.1f}",
            "1 worker",
            f"{one:.1f}",
            two / one,
            "at least 1.7",
        )
    ]


def _seconds(home: Path, database: psycopg.Connection, workers: int) -> float:
    """Seconds that so many waiting workers take for all runs, from the first to the last."""
    for statement in FORGET:
        database.execute(statement)
    processes = [_start(home, "remeasure", "--work") for _ in range(workers)]
    try:
        _until(database, LISTENING, workers)
        for process in processes:
            process.send_signal(signal.SIGSTOP)
        _manage(home, "remeasure", "--edition", "2", "--workers", "0", "--portion", "10")
        start = time.perf_counter()
        for process in processes:
            process.send_signal(signal.SIGCONT)
        _until(database, "SELECT count(*) = %s FROM registry_runedition WHERE edition_id = 2", RUNS)
        return time.perf_counter() - start
    finally:
        _stop(processes)


def _until(database: psycopg.Connection, question: str, number: int) -> None:
    deadline = time.monotonic() + 120
    while not database.execute(question, [number]).fetchone()[0]:
        if time.monotonic() > deadline:
            raise RuntimeError(f"not within two minutes: {question}")
        time.sleep(0.02)


def _stop(processes: list["subprocess.Popen[bytes]"]) -> None:
    for process in processes:
        process.send_signal(signal.SIGCONT)
        process.send_signal(signal.SIGTERM)
    for process in processes:
        process.wait(timeout=60)


def _start(home: Path, *arguments: str) -> "subprocess.Popen[bytes]":
    """Start a command of manage.py as a worker is started: one thread for its numerics."""
    single = {f"{library}_NUM_THREADS": "1" for library in ("OPENBLAS", "OMP", "MKL")}
    return subprocess.Popen(
        [sys.executable, "manage.py", *arguments],
        cwd=serving.ROOT,
        env=serving.environment(home, SETTINGS) | single,
        stderr=subprocess.DEVNULL,
    )


def _manage(home: Path, *arguments: str) -> None:
    if _start(home, *arguments).wait(timeout=600) != 0:
        raise RuntimeError(f"manage.py {arguments[0]} failed")


def _database(home: Path) -> psycopg.Connection:
    """Connect to the embedded database of `home`, started if need be."""
    where = embedded.ensure_running(home)
    return psycopg.connect(
        host=str(where), port=embedded.PORT, user=embedded.ROLE, dbname="vacuary", autocommit=True
    )
