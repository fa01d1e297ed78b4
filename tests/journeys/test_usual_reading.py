"""A gauge whose files say neither unit nor time: told once, then every upload needs no thought."""

import csv
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
import requests

from registry.waveform.units import PASCALS
from tests import serving
from tests.config.conftest import temporary_home
from tests.declared import CATALOGUE, GAUGE, provenance
from tests.traces import bare_bytes, two_sided_bytes

VACUARY = Path(sys.executable).with_name("vacuary")
KPA = PASCALS["kPa"] / PASCALS["mmHg"]
DONE, REFUSED = 0, 3


class Bench:
    """A clinic's computer: its files, and the command line signed in at the server."""

    def __init__(self, folder: Path, address: str, token: str) -> None:
        self.folder = folder
        self.environment = {
            **os.environ,
            "VACUARY_SERVER": address,
            "VACUARY_TOKEN": token,
            "XDG_STATE_HOME": str(folder / "state"),
        }

    def vacuary(self, *arguments: object, code: int = DONE) -> "subprocess.CompletedProcess[str]":
        """Run a command and check how it ends."""
        ran = subprocess.run(
            [VACUARY, *map(str, arguments)],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            stdin=subprocess.DEVNULL,
            timeout=120,
            check=False,
        )
        assert ran.returncode == code, ran.stdout + ran.stderr
        return ran

    def sweep(self, name: str, files: dict[str, bytes], **said: Any) -> Path:
        """Write traces and the list that uploads them, a level each."""
        path = self.folder / name
        rows = []
        for level, (file, data) in enumerate(files.items()):
            (self.folder / file).write_bytes(data)
            rows.append({"file": file, **provenance(level=level, **said)})
        with path.open("w", newline="", encoding="utf-8") as out:
            table = csv.DictWriter(out, rows[0])
            table.writeheader()
            table.writerows(rows)
        return path


@pytest.fixture(scope="module")
def server():
    """A server with the catalogue and gauge G1: its address, and a token."""
    with temporary_home() as home, serving.running(home) as address:
        token = serving.token(home, "elmsworth", "sorrel", curator=True)
        headers = {"Authorization": f"Token {token}"}
        for method, path, body in (("POST", "catalogue", CATALOGUE), ("PUT", "gauges/G1", GAUGE)):
            requests.request(
                method, f"{address}/api/v1/{path}", json=body, headers=headers, timeout=60
            ).raise_for_status()
        yield address, token


@pytest.fixture
def bench(server, tmp_path):
    return Bench(tmp_path, *server)


def test_it_is_told_once_and_then_understood(bench):
    files = {f"{n}.txt": bare_bytes(unit_mmhg=KPA, seed=n, peak=150 + 10 * n) for n in range(5)}
    sweep = bench.sweep("sweep.csv", files)
    refused = bench.vacuary("upload", sweep, code=REFUSED)
    assert "0.txt (and 4 more of its form) will be refused" in " ".join(refused.stderr.split())
    assert "Nothing says in which unit the vacuum is." in " ".join(refused.stdout.split())

    kept = bench.vacuary("measure", "0.txt", "--unit", "kPa", "--rate-hz", 50, "--keep-for", "G1")
    assert "Kept by sorrel" in kept.stdout
    sent = bench.vacuary("upload", sweep)
    assert "5 accepted." in sent.stdout
    assert "kPa (as usual for this gauge)" in sent.stderr
    assert sent.stderr.count("is read as") == 1
    runs = json.loads(bench.vacuary("runs", "--serial", "LK000123", "--json").stdout)["results"]
    peaks = sorted(run["measurements"]["peak_vacuum"]["value"] for run in runs)
    assert peaks == pytest.approx([150, 160, 170, 180, 190], abs=1)
    rates = [run["measurements"]["cycle_rate"]["value"] for run in runs]
    assert rates == pytest.approx([60] * 5, rel=1e-3)

    bench.vacuary("gauge", "reading", "G1", "--forget")
    again = bench.vacuary("upload", sweep)
    assert "5 already there." in again.stdout
    bench.vacuary("upload", bench.sweep("more.csv", {"9.txt": bare_bytes(seed=9)}), code=REFUSED)


def test_both_sides_of_a_pump_from_one_row(bench):
    two, serial = two_sided_bytes(), "LK000200"
    one = bench.sweep("one.csv", {"double.csv": two}, serial=serial)
    refused = bench.vacuary("upload", one, code=REFUSED)
    assert "say side both" in refused.stderr
    both = bench.sweep("both.csv", {"double.csv": two}, serial=serial, side="both")
    sent = json.loads(bench.vacuary("upload", both, "--json").stdout)
    assert [(run["side"], run["outcome"]) for run in sent["runs"]] == [
        ("left", "accepted"),
        ("right", "accepted"),
    ]
    shown = " ".join(bench.vacuary("run", sent["runs"][0]["id"]).stdout.split())
    assert "Left beside right" in shown
    late = re.search(r"The right side pulls ([\d.]+) ± [\d.]+ s after the left", shown)
    assert late is not None
    assert float(late[1]) == pytest.approx(0.2, abs=0.02)
    cycles = json.loads(bench.vacuary("cycles", sent["runs"][1]["id"], "--json").stdout)
    assert len(cycles["results"]) >= 25
