"""Which revision is this serial: over HTTP, among a million units and ten thousand spans of one model.

The peer is the least a server can read: one unit by its number, at the same server, in turns.
"""

import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import requests

from registry.config import embedded
from tests import serving
from tests.bench.series import MODEL, UNITS
from tests.bench.table import Row

_WARMING, _ROUNDS = 30, 400
Query = dict[str, str]


def _serial(number: int) -> str:
    return f"LK{number:07d}"


def _one(chance: random.Random) -> Query:
    return {"first": _serial(chance.randint(1, 2 * UNITS))}


def _range(width: int) -> Callable[[random.Random], Query]:
    def asked(chance: random.Random) -> Query:
        first = chance.randint(1, 2 * UNITS - width)
        return {"first": _serial(first), "last": _serial(first + width - 1)}

    return asked


KINDS = {
    "one serial of 1,000,000 units": _one,
    "a range of 10 serials": _range(10),
    "a range of 100 serials": _range(100),
    "a range of 1,000 serials": _range(1000),
}


def compare() -> list[Row]:
    """Fill a server with the series, ask each kind of question in turns with the peer; some four minutes."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder, "series")
        _fill(home)
        try:
            with serving.running(home) as address:
                return [_row(name, address, asked) for name, asked in KINDS.items()]
        finally:
            embedded.release(home)


def _fill(home: Path) -> None:
    home.mkdir(mode=0o755)
    for command in (["manage.py", "migrate", "--verbosity", "0"], ["-m", "tests.bench.series"]):
        environment = serving.environment(home)
        subprocess.run([sys.executable, *command], cwd=serving.ROOT, env=environment, check=True)


def _row(name: str, address: str, asked: Callable[[random.Random], Query]) -> Row:
    ours, bare = ask(address, asked)
    p95 = np.percentile(ours, 95), np.percentile(bare, 95)
    told = f"{np.median(ours):.1f}, {p95[0]:.1f} ms"
    peers = f"{np.median(bare):.1f}, {p95[1]:.1f} ms"
    target = "at most 2" if name in list(KINDS)[:2] else ""
    return Row(f"{name}: median, p95", told, "GET units/{id}", peers, p95[0] / p95[1], target)


def ask(address: str, asked: Callable[[random.Random], Query]) -> tuple[list[float], list[float]]:
    """Milliseconds of random questions, and of random units read in turns with them over one connection."""
    chance = random.Random(20060)
    ours: list[float] = []
    bare: list[float] = []
    with requests.Session() as session:
        for _ in range(_WARMING + _ROUNDS):
            bare.append(_timed(session, f"{address}/api/v1/units/{chance.randint(1, UNITS)}", {}))
            ours.append(_timed(session, f"{address}/api/v1/serials", {"model": MODEL, **asked(chance)}))
    return ours[_WARMING:], bare[_WARMING:]


def _timed(session: requests.Session, url: str, query: Query) -> float:
    request = session.prepare_request(requests.Request("GET", url, params=query))
    start = time.perf_counter()
    answer = session.send(request)
    spent = 1e3 * (time.perf_counter() - start)
    if answer.status_code != 200:
        raise RuntimeError(f"not an answer: {answer.text[:300]}")
    return spent
