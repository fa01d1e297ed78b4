"""Answers over HTTP with a million runs stored, beside health, raw quantiles, and a hundredth of the runs.

Told is what a question takes that nobody ever asked, of a model that is calm, so that what answers are made
of was made ahead; what it takes to ask it again; and what one takes that nobody ever asked, of a model to
which something was uploaded a moment ago, so that all is worked out of summaries. `percentile_cont` is over
the measurement rows of the same cells, found by the indexes their tables have; what a bare health request
gets against that is told beside, since no answer gets more.
"""

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
from tests.bench.asking import KINDS, Asker, Kind, Times, p95
from tests.bench.table import Row

# Models, and large ones among them: 10,080 runs, and 1,000,440 of which a tenth are of one model.
FEW, MANY = (4, 0), (358, 1)
_PEER_ROUNDS = 5


def compare() -> list[Row]:
    """Fill the databases of two servers, one with a hundredth of the runs, and ask both. Takes a while."""
    with tempfile.TemporaryDirectory() as folder:
        few, many = Path(folder, "few"), Path(folder, "many")
        with served(few, *FEW) as least, served(many, *MANY) as address:
            try:
                with _database(few) as of_few, _database(many) as of_many:
                    return list(_all_rows(Asker(least, of_few), Asker(address, of_many), of_many))
            finally:
                embedded.release(few)
                embedded.release(many)


def _all_rows(least: Asker, most: Asker, database: psycopg.Connection) -> Iterator[Row]:
    """Each kind of question, about usual models and about the large ones: of calm models before others."""
    usual, large = range(MANY[1] + 1, MANY[0] + 1), range(1, MANY[1] + 1)
    few = range(1, FEW[0] + 1)
    about = [
        (kind, models, kind.name + which)
        for kind in KINDS
        for models, which in (((usual, ""),) if kind.of_all else ((usual, ""), (large, ", large model")))
    ]
    raw = {told: _raw(kind, models, database) for kind, models, told in about if kind.cells}
    for kind, models, told in about:
        before, now = least.ask_calm(kind, few), most.ask_calm(kind, models)
        yield from _rows(f"{told}, asked first", now[0], before[0], raw.get(told))
        yield from _rows(f"{told}, asked again", now[1], before[1], raw.get(told))
    # Of every pump while all but one are calm: a usual question changes one more model each time it is asked.
    for kind, models, told in sorted(about, key=lambda one: not one[0].of_all):
        before_late, late = least.ask_changed(kind, few), most.ask_changed(kind, models)
        yield from _rows(f"{told}, asked first after an upload", late, before_late, raw.get(told))


def _database(home: Path) -> psycopg.Connection:
    return psycopg.connect(
        host=str(embedded.ensure_running(home)),
        port=embedded.PORT,
        user=embedded.ROLE,
        dbname="vacuary",
        autocommit=True,
    )


@contextmanager
def served(home: Path, models: int, large: int) -> Iterator[str]:
    """Serve a community of so many models from a new folder; the figures of loading go to stderr."""
    home.mkdir(mode=0o755)
    start = time.perf_counter()
    for command in (
        ["manage.py", "migrate", "--verbosity", "0"],
        ["-m", "tests.bench.crowd", str(models), str(large)],
        ["manage.py", "make_ahead"],
    ):
        subprocess.run(
            [sys.executable, *command],
            cwd=serving.ROOT,
            env=serving.environment(home),
            stdout=sys.stderr,
            check=True,
        )
    sys.stderr.write(f"{models} pump models stored in {time.perf_counter() - start:.0f} s.\n")
    with serving.running(home) as address:
        yield address


def _rows(name: str, ours: Times, before: Times, raw: float | None) -> Iterator[Row]:
    """The figures of one kind of question; `before` are those with a hundredth of the runs."""
    told = f"{median(ours.asked):.1f}, {p95(ours.asked):.1f} ms"
    health = f"{p95(ours.health):.1f} ms"
    ratio = p95(ours.asked) / p95(ours.health)
    yield Row(f"{name}: median, p95", told, "health, p95", health, ratio, "at most 5")
    if raw is not None:
        most = f"{raw:.0f} ms (health: {raw / median(ours.health):.0f})"
        ratio = raw / median(ours.asked)
        yield Row("", "", "percentile_cont, indexed rows", most, ratio, "at least 50")
    then = f"{p95(before.asked):.1f} ms"
    yield Row("", "", "itself at 10,000, p95", then, p95(ours.asked) / p95(before.asked), "at most 1.5")


def _raw(kind: Kind, models: range, database: psycopg.Connection) -> float:
    """Milliseconds that quantiles of the measurement rows of the same cells take in the database."""
    chance = random.Random(1)
    spent = []
    for _ in range(1 if kind.of_all else _PEER_ROUNDS):
        asked = kind.asked(chance, models)
        start = time.perf_counter()
        database.execute(kind.peer, asked).fetchall()
        spent.append(1e3 * (time.perf_counter() - start))
    return median(spent)
