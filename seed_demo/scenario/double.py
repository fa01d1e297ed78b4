"""One recording of both sides of a double pump: two channels of one gauge in one file."""

from dataclasses import dataclass, replace

import numpy as np

from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.recordings import on_bench
from seed_demo.scenario.runs import PlannedRun
from seed_demo.scenario.units import seed_of
from seed_demo.simulator.bench import PumpOnBench, simulate
from seed_demo.simulator.gauge import log

FILE_NAME = "double-pump.csv"
WEAKER_MMHG = 24.0
"""how much less the right side's regulator holds"""
LATER_S = 0.25
"""how much later the right side begins"""


@dataclass(frozen=True)
class DoubleRecording:
    """The file, and the planned run whose pump, clinic and setting it is of."""

    planned: PlannedRun
    data: bytes


def make_double() -> DoubleRecording:
    """Simulate both sides of a pump at a clinic that zeroes its gauge in open air."""
    run = next(
        run
        for run in planned_runs()
        if run.clinic.lead_s > LATER_S and run.expected == "accepted" and run.setting.mode == "expression"
    )
    left = on_bench(run)
    gauge = run.clinic.gauge(run.gauge)
    rng = np.random.default_rng(seed_of("double", run.name))
    readings = [log(gauge.truth, waveform, rng) for waveform in simulate([left, _other_side(left)])]
    digits = max(0, int(np.ceil(-np.log10(gauge.truth.resolution) - 1e-9)))
    rows = zip(readings[0].stamps.tolist(), *(reading.vacuum.tolist() for reading in readings), strict=False)
    unit = gauge.truth.unit
    lines = [f"time (s),left ({unit}),right ({unit})"]
    lines += [f"{t:.3f},{one:.{digits}f},{two:.{digits}f}" for t, one, two in rows]
    return DoubleRecording(run, ("\n".join(lines) + "\n").encode())


def _other_side(left: PumpOnBench) -> PumpOnBench:
    """The right side: the same motor, another membrane and valve."""
    weaker = left.constants["regulator_set"] - WEAKER_MMHG
    return replace(left, constants={**left.constants, "regulator_set": weaker}, lead_s=left.lead_s + LATER_S)
