"""What is noted about a measured trace. Limits are common practice, no published source, unless said."""

from collections.abc import Iterator
from itertools import groupby

import numpy as np

from . import kernels
from .analyse import Analysis
from .condition import Signal, Zero
from .cycles import Crossings
from .findings import finding
from .order import median, running_median
from .types import Finding, Floats, GaugeSpec, Quantity

FEWEST_CYCLES, FEW_CYCLES = 3, 8
FEWEST_SAMPLES, FEW_SAMPLES = 6.0, 12.0
WEAKEST_SWING = 10.0
FAR_ZERO = 10.0
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
    lost = len(analysis.loss) - analysis.loss.count("")
    if lost:
        first = next(index for index, kind in enumerate(analysis.loss) if kind)
        yield finding(
            "losses", at_s=float(analysis.slots.start[first]), count=lost, cycles=len(analysis.loss)
        )
    row = _longest_run(analysis.loss, "missing")
    if row >= PAUSE_CYCLES:
        yield finding("paused", count=row, seconds=row * analysis.mean_period)
    spread = metrics.get("period_spread")
    if spread is not None and spread.value > 0.08:
        yield finding("irregular", spread=spread.value)
    if crossings.double:
        yield finding("double_pulse")


def _longest_run(kinds: tuple[str, ...], wanted: str) -> int:
    """The most entries of a kind in a row."""
    return max((len(list(group)) for kind, group in groupby(kinds) if kind == wanted), default=0)


def course_checks(
    analysis: Analysis, crossings: Crossings, metrics: dict[str, Quantity]
) -> Iterator[Finding]:
    """Does the trace stay the same from its start to its end?"""
    good = np.isfinite(analysis.peak)
    at = analysis.slots.start[good]
    if at.size < FEW_CYCLES:
        return
    peak = analysis.peak[good] + analysis.shape.high.value
    step = _two_settings(analysis, crossings)
    if step is not None:
        yield step
        return
    minutes = float(at[-1] - at[0]) / 60
    drift = metrics.get("peak_drift")
    if drift is not None and abs(drift.value * minutes) > max(0.1 * abs(median(peak)), 4 * drift.u * minutes):
        yield finding("peak_drifts", change=drift.value * minutes)
    slope, error = slope_of(at, analysis.residual[good])
    if abs(slope) * minutes * 60 > max(8.0, 4 * error * minutes * 60):
        yield finding("leak", change=slope * minutes * 60)


def slope_of(at: Floats, values: Floats) -> tuple[float, float]:
    """(slope, standard error) of a straight line through finite values; zeros for fewer than four."""
    fine = np.isfinite(values)
    at, values = at[fine], values[fine]
    if at.size < 4:
        return 0.0, 0.0
    return kernels.course.slope_of(at, values)


def _two_settings(analysis: Analysis, crossings: Crossings) -> Finding | None:
    """A step in peak or in period that a steady drift would not explain, with four cycles on either side."""
    whole = np.array([not kind for kind in analysis.loss], dtype=bool)
    at = analysis.slots.start[whole]
    split = best_step(analysis.hold[whole])
    if split is not None:
        index, before, after = split
        if abs(after - before) > 0.08 * max(abs(before), abs(after)):
            return finding(
                "two_settings", float(at[index]), first=f"{before:.0f} mmHg", second=f"{after:.0f} mmHg"
            )
    between = running_median(np.diff(crossings.rise), 5)
    split = best_step(between)
    if split is None or abs(split[2] - split[1]) < 0.08 * split[1]:
        return None
    one, two = (f"{60 / value:.0f} cycles/min" for value in split[1:])
    return finding("two_settings", float(crossings.rise[split[0]]), first=one, second=two)


def best_step(values: Floats, least: int = 4) -> tuple[int, float, float] | None:
    """(first index after, mean before, mean after) of the step that explains most, or None.

    None too when a straight line explains the values about as well, when the step is within the scatter, or
    when the values about it do not leap but grow into each other, as those of a pump that settles do.
    """
    at, before, after = kernels.course.best_step(np.ascontiguousarray(values), least)
    return (at, before, after) if at else None
