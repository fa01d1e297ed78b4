"""Alert checks with a million runs stored: one new run beside one `measure`, and the nightly scan's growth.

Each database is filled by `crowd`, looked at by a process of its own, and gone afterwards.
"""

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from statistics import mean, median
from typing import Any

import django
from django.db.models import Count
from django.utils import timezone

from registry.config import embedded
from registry.waveform import measure
from registry.waveform.warm import warm
from tests import serving
from tests.bench.parts import Parts
from tests.bench.table import Row
from tests.traces import trace_bytes

# Models, and large ones among them: 10,080 runs, 100,800, and 1,000,440 of which a tenth are of one model.
SIZES = ((4, 0), (40, 0), (358, 1))
_CHECKS = 25
# Models of so many runs are large ones, whose checks are told by themselves besides.
_LARGE = 50_000
# What is told of a check beside its rules, and how many parts are told.
_WATCHED = ("models_beside", "readings", "dated_pairs", "leaning_of", "news_of", "keep", "decide")
_TOLD = 6


def compare() -> list[Row]:
    """Fill, check and scan each size in turn. Some fifteen minutes."""
    found = [_looked_at(*size) for size in SIZES]
    most = found[-1]
    rows = [row for one in found[1:] for row in _of_checks(one, f"{one['runs']:,} stored")]
    rows += _of_checks(most["largest"], f"of a model of {most['largest']['runs']:,}")
    for before, now in pairwise(found):
        rows.append(_growth(before, now, "scan", "nightly scan", 1.5))
        rows.append(_growth(before, now, "check", "check of a new run", None))
    rows.append(
        Row(
            f"memory of a nightly scan, {most['runs']:,} runs", f"{most['memory']:.0f} MB",
            f"{found[0]['runs']:,} runs", f"{found[0]['memory']:.0f} MB",
            most["memory"] / found[0]["memory"], "",
        )
    )  # fmt: skip
    return rows


def _of_checks(found: dict[str, Any], which: str) -> list[Row]:
    """A check beside one `measure` in turns, and what takes most of its time."""
    name, measuring = f"check of a new run, {which}", found["measure"]
    peers = f"{measuring:.1f} ms"
    rows = [
        Row(f"{name}: median", f"{found['check']:.0f} ms", "measure", peers, found["check"] / measuring,
            "at most 100"),
        Row(f"{name}: slowest", f"{found['worst']:.0f} ms", "measure", peers, found["worst"] / measuring, ""),
    ]  # fmt: skip
    for part, share in list(found["shares"].items())[:_TOLD]:
        spent = share * found["mean"]
        rows.append(Row(f"  {part}", f"{100 * share:.0f} %", "measure", peers, spent / measuring, ""))
    return rows


def _growth(before: dict[str, Any], now: dict[str, Any], what: str, name: str, most: float | None) -> Row:
    """How a time grows beside the runs; a target is on growth beyond theirs."""
    times, runs = now[what] / before[what], now["runs"] / before["runs"]
    unit, scale = ("s", 1e-3) if what == "scan" else ("ms", 1.0)
    target = f"at most {most * runs:.0f}" if most else ""
    return Row(
        f"{name}, {now['runs']:,} runs", f"{scale * now[what]:.1f} {unit}",
        f"{before['runs']:,} runs", f"{scale * before[what]:.1f} {unit}", times, target,
    )  # fmt: skip


def _looked_at(models: int, large: int) -> dict[str, Any]:
    """Fill a new database, and have a fresh process look at it."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder, "home")
        home.mkdir(mode=0o755)
        try:
            for command in (
                ["manage.py", "migrate", "--verbosity", "0"],
                ["-m", "tests.bench.crowd", str(models), str(large)],
            ):
                _run(command, home)
            found: dict[str, Any] = json.loads(_run(["-m", "tests.bench.scanning", str(models)], home))
            return found
        finally:
            embedded.release(home)


def _run(command: list[str], home: Path) -> str:
    ran = subprocess.run(
        [sys.executable, *command],
        cwd=serving.ROOT,
        env=serving.environment(home),
        check=True,
        capture_output=True,
        text=True,
    )
    return ran.stdout


def _look(models: int) -> dict[str, Any]:
    """Scan everything twice (the second counts: the first fills the book), then check runs of many models."""
    from registry.alerts.scan import scan_community  # noqa: PLC0415 - models need Django set up
    from registry.models import Alert, Run  # noqa: PLC0415

    spent = []
    for _ in range(2):
        begun = time.perf_counter()
        scan_community()
        spent.append(1e3 * (time.perf_counter() - begun))
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    runs = Run.objects.order_by("id")
    sizes = runs.values("pump_model").annotate(runs=Count("id")).order_by("-runs")
    large = sizes.filter(runs__gte=_LARGE).first()
    largest = {"largest": _checks(runs.filter(pump_model=large["pump_model"]))} if large else {}
    return {
        "models": models, "first": spent[0], "scan": spent[1], "memory": memory, **_checks(runs), **largest,
        "alerts": Alert.objects.count(),
    }  # fmt: skip


def _checks(runs: Any) -> dict[str, Any]:
    """Check some of these runs, in turns with one `measure`: milliseconds, and each part's share."""
    from registry.alerts import rules, scan  # noqa: PLC0415 - models need Django set up
    from registry.alerts.scanned import Changed  # noqa: PLC0415

    warm()
    data, parts = trace_bytes(seconds=60, hertz=100), Parts()
    runs = runs.select_related("session")
    count, checking, measuring = runs.count(), [], []
    for k in range(_CHECKS):
        run = runs[(k * 7919 + 13) * count // (_CHECKS * 8000)]
        _uploaded(run)
        measuring.append(_ms(lambda: measure(data)))
        with parts.watching(scan, _WATCHED, rules):
            checking.append(
                _ms(parts.timed("other", scan.check), Changed(run.pump_model_id, run.session.gauge_id))
            )
    return {
        "runs": count, "check": median(checking), "worst": max(checking), "mean": mean(checking),
        "measure": median(measuring), "shares": parts.shares(),
    }  # fmt: skip


def _ms(work: Callable[..., object], *of: object) -> float:
    begun = time.perf_counter()
    work(*of)
    return 1e3 * (time.perf_counter() - begun)


def _uploaded(run: Any) -> None:
    """Leave the run's cells as an upload just now would; all others are of the day before.

    Only what is not so is written: rows written anew with every check would be what the next one reads.
    """
    from registry.models import UnitSummary  # noqa: PLC0415

    now = timezone.now()
    of_model = UnitSummary.objects.filter(pump_model=run.pump_model_id)
    others = of_model.exclude(unit=run.unit_id).filter(refreshed_at__gt=now - timedelta(hours=12))
    others.update(refreshed_at=now - timedelta(days=1))
    of_model.filter(unit=run.unit_id).update(refreshed_at=now)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "registry.config.settings")
    django.setup()
    print(json.dumps(_look(int(sys.argv[1]))))
