"""Run many pumps side by side through time and keep the load-side vacuum."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from seed_demo.simulator.controller import BUILT, Drives, Habits, Schedule, Timing, drives, schedule
from seed_demo.simulator.pneumatics import Drive, Pneumatics, step

Array = NDArray[np.float64]

STEP_S = 0.0025
"""The fastest time constant of plausible parameters is about 2 ms; the method is stable up to 2.7 of them."""


@dataclass(frozen=True)
class PumpOnBench:
    """One run to simulate: the constants of Pneumatics, the setting's timing, the pump's habits.

    The recording lasts `duration_s`; the pump starts after `lead_s`.
    """

    constants: dict[str, float]
    timing: Timing
    habits: Habits
    duration_s: float
    lead_s: float
    seed: tuple[int, ...]


@dataclass(frozen=True)
class TrueWaveform:
    """What really happened at the load: vacuum (mmHg) on the grid `t` (s), and the cycles as driven."""

    t: Array
    vacuum: Array
    cycles: Schedule
    length_s: float

    def whole_cycles(self) -> NDArray[np.bool_]:
        """Cycles that were built as meant, ended within the run and are past the first two."""
        whole = (self.cycles.fate == BUILT) & (self.cycles.end <= self.length_s)
        whole[:2] = False
        return np.asarray(whole)

    def rate(self) -> float:
        """Cycles per minute: 60 over the mean period of the whole cycles."""
        whole = self.whole_cycles()
        return float(60.0 / np.mean((self.cycles.end - self.cycles.start)[whole]))

    def levels(self) -> tuple[float, float]:
        """Medians over the whole cycles of the highest and of the lowest vacuum, mmHg."""
        whole = np.flatnonzero(self.whole_cycles())
        spans = [self._window(self.cycles.start[i], self.cycles.end[i]) for i in whole]
        return float(np.median([s.max() for s in spans])), float(np.median([s.min() for s in spans]))

    def losses(self) -> int:
        """Loss events among the cycles that ended within the run."""
        return int(np.sum((self.cycles.fate != BUILT) & (self.cycles.end <= self.length_s)))

    def _window(self, start: float, end: float) -> Array:
        return self.vacuum[np.searchsorted(self.t, start) : np.searchsorted(self.t, end)]


def simulate(runs: Sequence[PumpOnBench]) -> list[TrueWaveform]:
    """Simulate every run, all at once; each starts with both volumes at ambient.

    A run's result depends on that run alone, not on its neighbours: only elementwise arithmetic meets it.
    """
    length = max(run.duration_s for run in runs)
    edges: Array = np.arange(int(np.ceil(length / STEP_S)) + 1, dtype=np.float64) * STEP_S
    plans = [_plan(run) for run in runs]
    driven = [drives(plan, run.habits, edges) for plan, run in zip(plans, runs, strict=True)]
    load = _integrate(Pneumatics.stack([run.constants for run in runs]), _across(driven), len(edges))
    ends = [int(np.searchsorted(edges, run.duration_s, side="right")) for run in runs]
    return [
        TrueWaveform(edges[:n], load[:n, i], plan, run.duration_s)
        for i, (n, plan, run) in enumerate(zip(ends, plans, runs, strict=True))
    ]


def _plan(run: PumpOnBench) -> Schedule:
    rng = np.random.default_rng(run.seed)
    return schedule(run.timing, run.habits, run.lead_s, run.duration_s, rng)


def _across(driven: list[Drives]) -> list[Array]:
    """Turn one tuple a run into one array a drive, shaped (steps, runs)."""
    return [np.stack([run[k] for run in driven], axis=1) for k in range(3)]


def _integrate(pneumatics: Pneumatics, across: list[Array], samples: int) -> Array:
    """Step all runs through time; returns the load-side vacuum, shape (samples, runs)."""
    state = np.zeros((3, pneumatics.ambient.size))
    load = np.zeros((samples, pneumatics.ambient.size))
    for k in range(samples - 1):
        drive = Drive(*(a[k] for a in across))
        state = step(state, pneumatics, drive, STEP_S)
        load[k + 1] = state[1]
    return load
