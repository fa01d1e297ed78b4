"""Answers over HTTP with a million runs stored, beside health, raw quantiles, and a hundredth of the runs."""

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import psycopg

from registry.config import embedded
from tests import serving
from tests.bench.asking import KINDS, PEER, Kind, Times, ask
from tests.bench.table import Row

# Models, and large ones among them: 10,080 runs, and 1,000,440 of which a tenth are of one model.
FEW, MANY = (4, 0), (358, 1)
_PEER_ROUNDS = 5


def compare() -> list[Row]:
    """Fill the databases of two servers, one with a hundredth of the runs, and ask both. Some ten minutes."""
    with tempfile.TemporaryDirectory() as folder:
        few, many = Path(folder, "few"), Path(folder, "many")
        with served(few, *FEW) as least, served(many, *MANY) as address:
            try:
                return list(_all_rows(least, address, many))
            finally:
                embedded.release(many)


def _all_rows(least: str, address: str, home: Path) -> Iterator[Row]:
    """Each kind of question, about usual models and about the large ones."""
    usual, large = range(MANY[1] + 1, MANY[0] + 1), range(1, MANY[1] + 1)
    for kind in KINDS:
        before = ask(least, kind, range(1, FEW[0] + 1))
        yield from _rows(kind, address, usual, home, before, "")
        yield from _rows(kind, address, large, home, before, ", large model")


@contextmanager
def served(home: Path, models: int, large: int) -> Iterator[str]:
    """Serve a community of so many models from a new folder; the figures of loading go to stderr."""
    home.mkdir(mode=0o755)
    start = time.perf_counter()
    for command in (
        ["manage.py", "migrate", "--verbosity", "0"],
        ["-m", "tests.bench.crowd", str(models), str(large)],
    ):
        subprocess.run(
            [sys.executable, *command], cwd=serving.ROOT, env=serving.environment(home), check=True
        )
    sys.stderr.write(f"{models} pump models stored in {time.perf_counter() - start:.0f} s.\n")
    with serving.running(home) as address:
        yield address


def _rows(kind: Kind, address: str, models: range, home: Path, before: Times, which: str) -> Iterator[Row]:
    """The three figures of one kind of question."""
    now = ask(address, kind, models)
    ours = f"{now.ours(50):.1f}, {now.ours():.1f} ms"
    name = f"{kind.name}{which}: median, p95"
    yield Row(name, ours, "health, p95", f"{now.bare():.1f} ms", now.ours() / now.bare(), "at most 5")
    raw = _raw(kind, models, home)
    yield Row("", "", "percentile_cont", f"{raw:.0f} ms", raw / now.ours(50), "at least 50")
    yield Row(
        "", "", "itself at 10,000, p95", f"{before.ours():.1f} ms", now.ours() / before.ours(), "at most 1.5"
    )


def _raw(kind: Kind, models: range, home: Path) -> float:
    """Milliseconds that quantiles of the measurement rows of the same cells take in the database."""
    chance = random.Random(1)
    spent = []
    with psycopg.connect(
        host=str(embedded.ensure_running(home)), port=embedded.PORT, user=embedded.ROLE, dbname="vacuary"
    ) as database:
        for _ in range(_PEER_ROUNDS):
            asked = kind.asked(chance, models)
            start = time.perf_counter()
            database.execute(PEER.format(cells=kind.cells), asked).fetchall()
            spent.append(1e3 * (time.perf_counter() - start))
    return median(spent)
