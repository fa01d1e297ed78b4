"""Uploads per second of the full path, beside a bare endpoint of the same server that hashes and stores."""

import json
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import requests

from tests import serving
from tests.bench.table import Row
from tests.declared import CATALOGUE, GAUGE, provenance
from tests.traces import trace_bytes

BLOCKS = 8
BLOCK = 25
WAYS = ("runs", "bare", "barer")
Send = Callable[[requests.Session, str, bytes, int], None]


def compare() -> list[Row]:
    """Upload 60 s traces of 100 Hz in turns to both endpoints, over one connection and over two."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        home.chmod(0o755)
        with serving.running(home, "tests.bench.settings") as address:
            key = serving.token(home, "elmsworth", "sorrel", curator=True)
            session = _session(key)
            session.post(f"{address}/api/v1/catalogue", json=CATALOGUE).raise_for_status()
            session.put(f"{address}/api/v1/gauges/G1", json=GAUGE).raise_for_status()
            return [row for connections in (1, 2) for row in _rows(address, key, connections)]


def _session(key: str) -> requests.Session:
    session = requests.Session()
    session.headers["Authorization"] = f"Token {key}"
    return session


def _rows(address: str, key: str, connections: int) -> list[Row]:
    sessions = [_session(key) for _ in range(connections)]
    spent = dict.fromkeys(WAYS, 0.0)
    for block in range(BLOCKS):
        for way, name in enumerate(WAYS):
            # No two traces of a run are alike, or the second would be the same run again.
            first = ((connections * BLOCKS + block) * len(WAYS) + way) * BLOCK
            traces = [
                trace_bytes(seconds=60, hertz=100, rate_cpm=50 + i, seed=first + i) for i in range(BLOCK)
            ]
            spent[name] += _timed(sessions, address, traces, _full if name == "runs" else _to(name))
    rate = {name: BLOCKS * BLOCK / seconds for name, seconds in spent.items()}
    title = f"uploads/s, {connections} connection{'s' if connections > 1 else ''}"
    return [
        Row(
            title, f"{rate['runs']:.1f}", peer, f"{rate[name]:.1f}", rate["runs"] / rate[name], "at least 0.5"
        )
        for name, peer in (("barer", "hash and file"), ("bare", "sign-in, hash, file, row"))
    ]


def _timed(sessions: list[requests.Session], address: str, traces: list[bytes], send: Send) -> float:
    """Seconds until all traces are answered, shared out over the sessions."""

    def work(index: int) -> None:
        for number in range(index, len(traces), len(sessions)):
            send(sessions[index], address, traces[number], number)

    start = time.perf_counter()
    with ThreadPoolExecutor(len(sessions)) as pool:
        list(pool.map(work, range(len(sessions))))
    return time.perf_counter() - start


def _full(session: requests.Session, address: str, data: bytes, number: int) -> None:
    said = json.dumps(provenance(serial=f"LK{number:06d}"))
    answer = session.post(f"{address}/api/v1/runs", files={"trace": data}, data={"provenance": said})
    answer.raise_for_status()
    if answer.status_code != 201 or answer.json()["state"] != "accepted":
        raise RuntimeError(f"not a new accepted run: {answer.json()['findings']}")


def _to(way: str) -> Send:
    def send(session: requests.Session, address: str, data: bytes, number: int) -> None:
        said = json.dumps(provenance(serial=f"LK{number:06d}"))
        session.post(f"{address}/{way}", files={"trace": data}, data={"provenance": said}).raise_for_status()

    return send
