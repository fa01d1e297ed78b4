"""The metrics of edition 1, each with its standard uncertainty in a random and a systematic part."""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt

import numpy as np

from .analyse import Analysis
from .condition import Signal
from .editions import Edition
from .order import dot, median
from .shape import Timed
from .types import Floats, Quantity
from .uncertainty import CLOCK_LIMIT, GaugeParts, Scatter, few, lag_one, propagate, rectangular, scatter

CLOCK = rectangular(CLOCK_LIMIT)
LEVELS_AND_SWING = np.array([[1.0, 0.0, 1.0], [0.0, 1.0, -1.0]])  # from (high, low)
OUTWARD = 0.4  # correlation of outward errors of high and low level: noise hides corners of both (by replay)
MEDIAN_FACTOR = sqrt(np.pi / 2)  # standard error of a median over that of a mean, normal scatter


@dataclass(frozen=True)
class Budget:
    """What the metrics share: scatter of the good cycles and the gauge's parts."""

    peaks: Scatter
    residuals: Scatter
    periods: Scatter
    duties: Scatter
    gauge: GaugeParts
    u_rise: float


def known(values: Floats) -> Floats:
    """Without NaN."""
    return values[np.isfinite(values)]


def budget(analysis: Analysis, gauge: GaugeParts) -> Budget:
    """Scatter of peaks, residuals, periods and duties over good cycles, freed of reading noise."""
    found = analysis.deviations
    level_noise = found.noise / sqrt(max(found.top_samples, 1.0))
    periods = known(analysis.period)
    shared = max(-lag_one(periods), 0.0) * float(periods.var()) if periods.size else 0.0
    u_rise = max(found.rise_error_s, sqrt(shared))
    return Budget(
        scatter(known(analysis.peak), level_noise),
        scatter(known(analysis.residual), level_noise),
        scatter(periods, sqrt(2.0) * u_rise),
        scatter(known(analysis.duty), 0.0),
        gauge,
        u_rise,
    )


def measure_metrics(
    signal: Signal, analysis: Analysis, gauge: GaugeParts, edition: Edition
) -> dict[str, Quantity]:
    """Every metric of the edition that the trace carries, in the edition's order."""
    shared = budget(analysis, gauge)
    found = {
        **_rate(analysis, shared),
        **_levels(analysis, shared),
        **_mean_vacuum(signal, analysis, shared),
        **_times(analysis, shared),
        **_spreads(analysis, shared),
        **_losses(analysis),
        **_course(analysis, shared, edition),
    }
    usable = {name: value for name, value in found.items() if isfinite(value.value) and isfinite(value.u)}
    return {name: usable[name] for name in edition.metrics if name in usable}


def u_mean_period(count: int, spread: float, u_rise: float, runs: int) -> float:
    """Standard error of the mean period of `count` cycles in `runs` unbroken runs.

    Reading errors of a crossing shared by two neighbours cancel, so only the ends of runs count; the pump's
    own scatter does not cancel.
    """
    return sqrt(few(count) * spread**2 / count + 2 * runs * u_rise**2 / count**2)


def _rate(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    periods = known(analysis.period)
    if periods.size < 2:
        return {}
    good = np.isfinite(analysis.period).astype(int)
    runs = int(np.sum(np.diff(good, prepend=0) == 1))
    u_period = u_mean_period(periods.size, shared.periods.spread, shared.u_rise, runs)
    rate = 60.0 / shared.periods.mean
    random = rate * u_period / shared.periods.mean
    spread, mean = shared.periods, shared.periods.mean
    return {
        "cycle_rate": Quantity.of(rate, "cycles/min", random, rate * CLOCK),
        "period_spread": Quantity.of(spread.spread / mean, "1", spread.u_spread / mean, 0.0),
    }


def _levels(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    """Peak, residual and swing; none where a single cycle leaves their scatter unknown."""
    outline, gauge = analysis.shape, shared.gauge
    high = outline.high.value + median(known(analysis.peak))
    low = outline.low.value + median(known(analysis.residual))
    u_high = hypot(outline.high.error, MEDIAN_FACTOR * shared.peaks.u_mean)
    u_low = hypot(outline.low.error, MEDIAN_FACTOR * shared.residuals.u_mean)
    if not all(map(isfinite, (high, low, u_high, u_low))):
        return {}
    shared_part = -OUTWARD * outline.high.error * outline.low.error
    inputs = np.array([[u_high**2, shared_part], [shared_part, u_low**2]])
    values, spread = propagate(lambda both: both @ LEVELS_AND_SWING, np.array([high, low]), inputs)
    random = np.sqrt(np.diag(spread)).tolist()
    systematic = (gauge.level(high), gauge.level(low), gauge.difference(high, low))
    names = ("peak_vacuum", "residual_vacuum", "vacuum_swing")
    parts = zip(names, values.tolist(), random, systematic, strict=True)
    return {name: Quantity.of(value, "mmHg", one, two) for name, value, one, two in parts}


def _mean_vacuum(signal: Signal, analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    """Time average from the first to the last rise, by trapezia."""
    rises = analysis.slots.start[analysis.slots.rise >= 0]
    first, last = float(rises[0]), float(rises[-1])
    inside = slice(*np.searchsorted(signal.seconds, [first, last]))
    seconds, vacuum = signal.seconds[inside], signal.vacuum[inside]
    if seconds.size < 3:
        return {}
    middle = 0.5 * (analysis.shape.high.value + analysis.shape.low.value)
    ends = 0.5 * ((seconds[0] - first) * (middle + vacuum[0]) + (last - seconds[-1]) * (middle + vacuum[-1]))
    value = (float(np.trapezoid(vacuum, seconds)) + ends) / (last - first)
    cycles = max(analysis.folded, 1)
    duty = shared.duties.mean
    own = hypot(duty * shared.peaks.u_mean, (1 - duty) * shared.residuals.u_mean)
    turns = analysis.shape.swing * shared.duties.u_mean
    noise = analysis.deviations.noise / sqrt(seconds.size)
    lost = _losses(analysis)["loss_rate"].u_random / 100 * (value - analysis.shape.low.value) * (cycles > 0)
    share = analysis.loss.count("") / max(len(analysis.loss), 1)
    random = sqrt(own**2 + turns**2 + noise**2 + (lost if share < 1 else 0.0) ** 2)
    return {"mean_vacuum": Quantity.of(value, "mmHg", random, shared.gauge.level(value))}


def _seconds(timed: Timed) -> Quantity:
    return Quantity.of(timed.value, "s", timed.error, timed.value * CLOCK)


def _times(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    outline, period = analysis.shape, analysis.profile.period
    duty = outline.width.value / period
    u_duty = hypot(outline.width.error / period, shared.duties.u_mean)
    relative = shared.gauge.gain(outline.high.value, outline.low.value)
    steep = outline.steepest
    return {
        "pull_time": _seconds(outline.pull),
        "release_time": _seconds(outline.release),
        "hold_time": _seconds(outline.hold),
        "duty_factor": Quantity.of(duty, "1", u_duty, 0.0),
        "peak_pull_rate": Quantity.of(
            steep.value, "mmHg/s", steep.error, steep.value * hypot(relative, CLOCK)
        ),
    }


def _spreads(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    peak = analysis.shape.high.value
    if peak <= 0:
        return {}
    return {"peak_spread": Quantity.of(shared.peaks.spread / peak, "1", shared.peaks.u_spread / peak, 0.0)}


def _losses(analysis: Analysis) -> dict[str, Quantity]:
    """Loss events per 100 due cycles; the uncertainty is that of a share with a uniform prior."""
    due = len(analysis.loss)
    lost = due - analysis.loss.count("")
    one, two = lost + 1.0, due - lost + 1.0
    u_share = sqrt(one * two / ((due + 2.0) ** 2 * (due + 3.0)))
    return {"loss_rate": Quantity.of(100.0 * lost / max(due, 1), "per 100 cycles", 100.0 * u_share, 0.0)}


def _course(analysis: Analysis, shared: Budget, edition: Edition) -> dict[str, Quantity]:
    """peak_drift and settling_time, from the peaks in order of time."""
    good = np.isfinite(analysis.peak)
    at, peak = analysis.slots.start[good], analysis.peak[good]
    if at.size < 4:
        return {}
    away = at - at.mean()
    slope = dot(away, peak) / dot(away, away)
    left = peak - peak.mean() - slope * away
    alike = min(max(lag_one(left), 0.0), 0.8)
    grown = few(at.size - 1) * (1 + alike) / (1 - alike)
    u_slope = sqrt(grown * dot(left, left) / (at.size - 2) / dot(away, away))
    relative = shared.gauge.gain(analysis.shape.high.value, analysis.shape.low.value)
    high = analysis.shape.high.value
    return {
        "peak_drift": Quantity.of(60 * slope, "mmHg/min", 60 * u_slope, abs(60 * slope) * relative),
        "settling_time": _settling(at, peak + high, analysis.mean_period, edition.settled_within),
    }


def _settling(at: Floats, peak: Floats, period: float, within: float) -> Quantity:
    """Seconds from the first cycle until the peaks stay within a share of the final one.

    The final peak is the median of the last quarter; a pump whose late peaks scatter more than the share is
    allowed its scatter. The time is known to half a cycle.
    """
    final = median(peak[-max(peak.size // 4, 3) :])
    late = peak[peak.size // 2 :]
    band = max(within * abs(final), 3.5 * float(late.std()))
    outside = np.flatnonzero(np.abs(peak - final) > band)
    settled = int(outside[-1]) + 1 if outside.size else 0
    value = float(at[min(settled, at.size - 1)] - at[0])
    return Quantity.of(value, "s", rectangular(period / 2), value * CLOCK)
