"""Make a reading fit for measurement: gaps, spikes, the end of the gauge's range, the zero."""

from dataclasses import dataclass

import numpy as np

from . import kernels
from .cycles import Crossings
from .findings import finding
from .types import Declared, Finding, Flags, Floats, GaugeSpec, Reading

NO_GAPS: Floats = np.empty((0, 2))
FEWEST_CLIPPED = 3  # samples at the end of the range: fewer are noise


@dataclass(frozen=True, eq=False)
class Signal:
    """Samples that can be measured, still as the gauge showed them (vacuum positive), and what was noted.

    `resolution` is the step of the readings, `step_s` the usual interval; `gaps` has a row for each gap, the
    times of the samples before and after it.
    """

    seconds: Floats
    vacuum: Floats
    step_s: float
    resolution: float
    gaps: Floats
    notes: tuple[Finding, ...]

    @property
    def ends(self) -> tuple[float, float]:
        """Times of the first and the last sample."""
        return float(self.seconds[0]), float(self.seconds[-1])


def condition(reading: Reading, gauge: GaugeSpec | None) -> Signal:
    """Drop what is no measurement, keep what the gauge could not show at the end of its range."""
    notes: list[Finding] = list(reading.notes)
    vacuum = _end_of_range(reading, gauge, notes)
    keep, lost = kernels.condition.finite(vacuum)
    seconds = np.ascontiguousarray(reading.seconds)
    step = float(seconds[-1] - seconds[0]) / max(seconds.size - 1, 1)
    if lost:
        seconds, vacuum = seconds[keep], vacuum[keep]
    spikes = kernels.condition.spikes(vacuum)
    if spikes.size:
        notes.append(finding("spikes", at_s=float(seconds[spikes[0]]), count=spikes.size))
        seconds, vacuum = np.delete(seconds, spikes), np.delete(vacuum, spikes)
    gaps = _gaps(seconds, step, lost, keep.size, notes)
    resolution = reading_step(vacuum)
    if gauge is not None:
        resolution = max(resolution, gauge.resolution_mmhg)
    return Signal(seconds, vacuum, step, resolution, gaps, tuple(notes))


def _end_of_range(reading: Reading, gauge: GaugeSpec | None, notes: list[Finding]) -> Floats:
    """Vacuum with over-range samples put at the top; a gauge at the end of its range is noted."""
    vacuum, over = reading.vacuum, reading.over_range
    if over.any():
        top = float(np.nanmax(vacuum)) if np.isfinite(vacuum).any() else 0.0
        vacuum = np.where(over, top, vacuum)
    at_end: Flags = over
    if gauge is not None:
        at_end = over | (vacuum >= gauge.range_high_mmhg - 0.5 * gauge.resolution_mmhg)
    if int(at_end.sum()) >= FEWEST_CLIPPED:
        first = float(reading.seconds[int(np.argmax(at_end))])
        notes.append(finding("gauge_clipped", at_s=first, share=float(at_end.mean())))
    return np.ascontiguousarray(vacuum)


def _gaps(seconds: Floats, step: float, lost: int, total: int, notes: list[Finding]) -> Floats:
    """Times before and after each gap, (n, 2); gaps are noted."""
    if seconds.size < 3:
        return NO_GAPS
    usual, ends = kernels.condition.gaps(seconds, step, lost)
    missing = float(np.sum(seconds[ends] - seconds[ends - 1] - usual)) if ends.size else 0.0
    share = max(missing / max(float(seconds[-1] - seconds[0]), 1e-9), lost / max(total, 1))
    if share > 0.2:
        notes.append(finding("many_gaps", share=share))
    elif ends.size or lost:
        count = ends.size or lost
        first = float(seconds[int(ends[0])]) if ends.size else None
        notes.append(finding("gaps", at_s=first, count=count, seconds=missing or lost * step))
    return np.stack([seconds[ends - 1], seconds[ends]], axis=1) if ends.size else NO_GAPS


def reading_step(vacuum: Floats) -> float:
    """Smallest step between readings in a sample of the trace, 0 for a constant one."""
    return kernels.condition.smallest_step(np.sort(vacuum[:: max(1, vacuum.size // 600)]))


@dataclass(frozen=True)
class Zero:
    """The gauge's reading at open air (vacuum-positive, mmHg), how it is known, and how well."""

    value: float
    basis: str
    u: float


def open_air(signal: Signal, first_rise: float, last_fall: float, crossings: Crossings) -> Zero | None:
    """Zero from a flat stretch before the first pull or after the last release, or None.

    Two periods and more, or a level clearly under the residual one: a missed cycle is neither. Open air is
    never above the residual level: that is vacuum left standing.
    """
    period, low, swing = crossings.period, crossings.low, crossings.high - crossings.low
    lead, trail = first_rise - float(signal.seconds[0]), float(signal.seconds[-1]) - last_fall
    before = np.searchsorted(signal.seconds, first_rise - min(1.2 * period, 0.5 * lead))
    after = np.searchsorted(signal.seconds, last_fall + min(1.2 * period, 0.5 * trail), side="right")
    for length, values in ((lead, signal.vacuum[:before]), (trail, signal.vacuum[after:])):
        if values.size < 5 or length < 1.0:
            continue
        level, noise, spread = kernels.order.stretch(values)
        flat = spread < max(0.1 * swing, 6 * noise)
        apart = low - level > max(2.0, 4 * noise, signal.resolution)
        standing = level - low > max(2.0, 4 * noise, signal.resolution)
        if flat and not standing and (length > 2.3 * period or (apart and length > 0.8 * period)):
            u = np.hypot(noise / np.sqrt(values.size), signal.resolution / np.sqrt(12))
            return Zero(level, "open air in the trace", float(u))
    return None


def declared_zero(declared: Declared, shown_sign: int, resolution: float) -> Zero | None:
    """Zero as declared, turned into vacuum-positive, or None."""
    if declared.zero_offset_mmhg is None:
        return None
    return Zero(shown_sign * declared.zero_offset_mmhg, "declared", resolution / np.sqrt(12))
