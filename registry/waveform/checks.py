"""What is noted about a measured trace. Limits are common practice, no published source, unless said."""

from collections import Counter
from collections.abc import Iterator
from itertools import groupby

import numpy as np

from . import kernels
from .analyse import Analysis
from .condition import Signal, Zero
from .cycles import Crossings
from .findings import finding
from .types import Finding, GaugeSpec, Quantity

FEWEST_CYCLES, FEW_CYCLES = 3, 8
FEWEST_SAMPLES, FEW_SAMPLES = 6.0, 12.0
WEAKEST_SWING = 10.0
FAR_ZERO = 10.0
SLOWEST, QUICKEST = 15, 180  # cycles/min of a breast pump, with room to spare
PAUSE_CYCLES = 5  # missing in a row: the pump stood still


def gauge_checks(gauge: GaugeSpec | None, zero: Zero | None, *, absolute: bool) -> Iterator[Finding]:
    """Gauge declared? Zero known, and near?"""
    if gauge is None:
        yield finding("gauge_undeclared")
    if zero is None:
        yield finding("ambient_unknown" if absolute else "zero_unknown")
    elif abs(zero.value) > FAR_ZERO and not absolute:
        yield finding("zero_far_off", zero=zero.value)


def samples_a_cycle(signal: Signal, crossings: Crossings) -> float:
    """Samples a cycle; where a trace leaps from sample to sample, by how far it travels, not by its period.

    A cycle travels up and down once. Cycles sampled too slowly show a longer period that is none.
    """
    by_period = crossings.period / signal.step_s
    travel = kernels.condition.travel(signal.vacuum)
    by_travel = 2 * (crossings.high - crossings.low) / max(travel, 1e-12)
    return min(by_period, by_travel) if by_travel < FEWEST_SAMPLES else by_period


def sampling_checks(per_cycle: float) -> Iterator[Finding]:
    """Samples a cycle against what edges and peaks need."""
    if per_cycle < FEWEST_SAMPLES:
        yield finding("sampled_too_slowly", per_cycle=per_cycle, needed=int(FEWEST_SAMPLES))
    elif per_cycle < FEW_SAMPLES:
        yield finding("sampled_coarsely", per_cycle=per_cycle)


def signal_checks(signal: Signal, analysis: Analysis) -> Iterator[Finding]:
    """Swing, noise and resolution against each other; a top that holds still where the rest does not."""
    swing, noise = analysis.shape.swing, analysis.deviations.noise
    known = any(note.code == "gauge_clipped" for note in signal.notes)
    if noise > 1.5 * signal.resolution and not known:
        top, bottom = float(signal.vacuum.max()) - 1e-9 * swing, analysis.shape.low.value + 0.9 * swing
        highest, near = kernels.condition.near_top(signal.vacuum, top, bottom)
        if highest > 0.4 * near:
            yield finding("gauge_clipped", share=highest / signal.vacuum.size)
    if swing < max(WEAKEST_SWING, 5 * noise):
        yield finding("weak_signal", swing=swing)
    elif noise > max(0.02 * swing, 2.0):
        yield finding("noise_high", noise=noise, swing=swing)
    if signal.resolution > swing / 40:
        yield finding("resolution_coarse", step=signal.resolution, swing=swing)


def cycle_checks(analysis: Analysis, crossings: Crossings, metrics: dict[str, Quantity]) -> Iterator[Finding]:
    """Number and regularity of cycles, losses, double pulses."""
    count = int(np.isfinite(analysis.period).sum())
    if count < FEWEST_CYCLES:
        yield finding("too_few_cycles", count=count, needed=FEWEST_CYCLES)
    elif count < FEW_CYCLES:
        yield finding("few_cycles", count=count)
    if any(analysis.loss):
        yield _losses(analysis)
    rate = 60 / analysis.mean_period
    if not SLOWEST <= rate <= QUICKEST:
        yield finding("rate_unlikely", rate=rate, slowest=SLOWEST, quickest=QUICKEST)
    row = _longest_run(analysis.loss, "missing")
    if row >= PAUSE_CYCLES:
        yield finding("paused", count=row, seconds=row * analysis.mean_period)
    spread = metrics.get("period_spread")
    if spread is not None and spread.value > 0.08:
        yield finding("irregular", spread=spread.value)
    if crossings.double:
        yield finding("double_pulse")


def _losses(analysis: Analysis) -> Finding:
    """Loss events, counted by kind, at the time of the first."""
    kinds = Counter(kind for kind in analysis.loss if kind)
    first = next(index for index, kind in enumerate(analysis.loss) if kind)
    told = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    at, cycles = float(analysis.slots.start[first]), len(analysis.loss)
    return finding("losses", at, count=kinds.total(), cycles=cycles, kinds=told)


def _longest_run(kinds: tuple[str, ...], wanted: str) -> int:
    """The most entries of a kind in a row."""
    return max((len(list(group)) for kind, group in groupby(kinds) if kind == wanted), default=0)
