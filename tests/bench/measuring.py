"""From a file's bytes to all metrics and findings, beside reading the same file with pandas alone."""

import io
import time
from collections.abc import Callable
from statistics import median

import pandas as pd

from registry.waveform import measure
from registry.waveform.warm import warm
from tests.bench.table import Row
from tests.traces import trace_bytes

ROUNDS = 60


def compare() -> list[Row]:
    """Time both on the same 60 s, 100 Hz file in turns; the ratio is that of the medians of processor time.

    Waiting for other programs on the machine does not count; neither of the two waits for anything else.
    """
    warm()
    data = trace_bytes(seconds=60, hertz=100)
    ours, peers = _in_turns(lambda: measure(data), lambda: pd.read_csv(io.BytesIO(data)))
    return [
        Row(
            "bytes to all metrics, 60 s at 100 Hz",
            f"{ours * 1e3:.1f} ms",
            "pandas.read_csv",
            f"{peers * 1e3:.1f} ms",
            ours / peers,
            "at most 3",
        )
    ]


def _in_turns(first: Callable[[], object], second: Callable[[], object]) -> tuple[float, float]:
    spent: tuple[list[float], list[float]] = ([], [])
    for _ in range(ROUNDS):
        for what, times in zip((first, second), spent, strict=True):
            start = time.thread_time()
            what()
            times.append(time.thread_time() - start)
    return median(spent[0][3:]), median(spent[1][3:])
