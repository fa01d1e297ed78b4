"""A batch of uploads outlives its server: nothing is lost and nothing is doubled."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
import requests

from tests import serving
from tests.config.conftest import temporary_home
from tests.declared import CATALOGUE, GAUGE, provenance
from tests.listening import free_port
from tests.traces import trace_bytes

RUNS = 300
VACUARY = Path(sys.executable).with_name("vacuary")


@pytest.fixture
def manifest(tmp_path: Path) -> Path:
    """300 short traces of 30 units with the list that uploads them."""
    folder = tmp_path / "bench"
    folder.mkdir()
    path = folder / "list.csv"
    rows = []
    for number in range(RUNS):
        name = f"{number:03d}.csv"
        (folder / name).write_bytes(trace_bytes(seconds=20, rate_cpm=60 + number / 10, seed=number))
        rows.append({"file": name, **provenance(serial=f"LK{number // 10:06d}", level=number % 5)})
    with path.open("w", newline="", encoding="utf-8") as out:
        table = csv.DictWriter(out, rows[0])
        table.writeheader()
        table.writerows(rows)
    return path


def upload(manifest: Path, address: str, token: str, state: Path) -> "subprocess.Popen[str]":
    """Start `vacuary upload` with little patience."""
    return subprocess.Popen(
        [VACUARY, "--json", "--patience", "2", "upload", manifest],
        env={
            **os.environ,
            "VACUARY_SERVER": address,
            "VACUARY_TOKEN": token,
            "XDG_STATE_HOME": str(state),
        },
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def all_runs(address: str) -> list[dict]:
    """Return every run the server lists, page by page."""
    found, page = [], f"{address}/api/v1/runs?page_size=500"
    while page:
        document = requests.get(page, timeout=60).json()
        found += document["results"]
        page = document["next"]
    return found


def kill(process: "subprocess.Popen[str]") -> None:
    """SIGKILL the server and every process it started."""
    everyone = [*psutil.Process(process.pid).children(recursive=True), process]
    for one in everyone:
        one.send_signal(signal.SIGKILL)
    process.communicate(timeout=30)


@pytest.fixture
def home() -> Iterator[Path]:
    with temporary_home() as folder:
        yield folder


@pytest.mark.timeout(480)
def test_an_upload_goes_on_after_the_server_was_killed(manifest, tmp_path, home):
    port = free_port()
    server = serving.start(home, "registry.config.settings", port)
    address = serving.address_of(server)
    token = serving.token(home, "elmsworth", "sorrel", curator=True)
    headers = {"Authorization": f"Token {token}"}
    requests.post(
        f"{address}/api/v1/catalogue", json=CATALOGUE, headers=headers, timeout=60
    ).raise_for_status()
    requests.put(f"{address}/api/v1/gauges/G1", json=GAUGE, headers=headers, timeout=60).raise_for_status()

    first = upload(manifest, address, token, tmp_path / "state")
    while len(all_runs(address)) < RUNS // 3:
        assert first.poll() is None, first.stderr.read()
        time.sleep(0.2)
    kill(server)
    first.communicate(timeout=60)
    assert first.returncode == 5

    with serving.running(home, port=port) as address:
        before = len(all_runs(address))
        assert RUNS // 3 <= before < RUNS
        second = upload(manifest, address, token, tmp_path / "state")
        answer, errors = second.communicate(timeout=120)
        assert second.returncode == 0, errors
        runs = all_runs(address)
    assert len(runs) == RUNS
    assert len({run["digest"] for run in runs}) == RUNS
    assert {run["state"] for run in runs} == {"accepted"}
    outcomes = json.loads(answer)["runs"]
    assert len(outcomes) == RUNS
    assert not [row for row in outcomes if row["outcome"] not in ("accepted", "same")]
