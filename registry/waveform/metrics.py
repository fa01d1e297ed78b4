"""The metrics of edition 1, each with its standard uncertainty in a random and a systematic part."""

from dataclasses import dataclass, replace
from math import hypot, isfinite, sqrt

import numpy as np

from . import kernels
from .analyse import Analysis
from .condition import Signal
from .editions import Edition
from .order import dot, median
from .settling import settling
from .shape import Timed
from .types import Floats, Quantity
from .uncertainty import (
    CLOCK_LIMIT,
    GaugeParts,
    Parts,
    Scatter,
    few,
    lag_one,
    rectangular,
    scatter,
)

CLOCK = rectangular(CLOCK_LIMIT)
TOP = 0.9  # of the swing: where deviations of the peak are taken (see `refine.mark`)
OUTWARD = 0.4  # correlation of outward errors of high and low level: noise hides corners of both (by replay)
MEDIAN_FACTOR = sqrt(np.pi / 2)  # standard error of a median over that of a mean, normal scatter


@dataclass(frozen=True)
class Budget:
    """What the metrics share: scatter of the good cycles, the gauge's parts, and what a reading adds.

    `u_rise` is the standard error of one crossing in s, `peak_noise` that of one cycle's peak in mmHg.
    """

    peaks: Scatter
    residuals: Scatter
    periods: Scatter
    duties: Scatter
    widths: Scatter
    gauge: GaugeParts
    u_rise: float
    peak_noise: float


def known(values: Floats) -> Floats:
    """Without NaN."""
    return values[np.isfinite(values)]


def budget(analysis: Analysis, gauge: GaugeParts) -> Budget:
    """Scatter of peaks, residuals, periods, duties and widths over good cycles, freed of reading noise."""
    found = analysis.deviations
    level_noise = found.noise / sqrt(max(found.top_samples, 1.0))
    periods = known(analysis.period)
    u_rise = max(found.rise_error_s, _shared_error(periods, known(analysis.duty * analysis.period)))
    return Budget(
        scatter(known(_own_peaks(analysis)), level_noise),
        scatter(known(analysis.residual), level_noise),
        scatter(periods, sqrt(2.0) * u_rise),
        scatter(known(analysis.duty), sqrt(2.0) * u_rise / analysis.mean_period),
        scatter(known(analysis.duty * analysis.period), sqrt(2.0) * u_rise),
        replace(gauge, noise=found.noise),
        u_rise,
        level_noise,
    )


def _shared_error(periods: Floats, widths: Floats) -> float:
    """Standard error of a crossing in s, as far as neighbouring periods show that they share it.

    Such an error is in the width of a pulse too, so widths bound it: few periods differ by chance as if they
    shared errors.
    """
    if periods.size == 0 or widths.size == 0:
        return 0.0
    shared = max(-lag_one(periods), 0.0) * float(periods.var())
    return sqrt(min(shared, 0.5 * float(widths.var())))


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


def u_mean_period(count: int, spread: float, u_rise: float, runs: int) -> Parts:
    """Standard error of the mean period of `count` cycles in `runs` unbroken runs, by part.

    Reading errors of a crossing shared by two neighbours cancel, so only the ends of runs count; the pump's
    own scatter does not cancel.
    """
    return {"scatter": spread * sqrt(few(count) / count), "sampling": sqrt(2.0 * runs) * u_rise / count}


def _scaled(parts: Parts, factor: float) -> Parts:
    return {name: factor * u for name, u in parts.items()}


def _rate(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    periods = known(analysis.period)
    if periods.size < 2:
        return {}
    runs = kernels.course.runs(analysis.period)
    spread, mean = shared.periods, shared.periods.mean
    u_period = u_mean_period(periods.size, spread.spread, shared.u_rise, runs)
    rate = 60.0 / mean
    return {
        "cycle_rate": Quantity.of(
            rate, "cycles/min", _scaled(u_period, rate / mean) | {"clock": rate * CLOCK}
        ),
        "period_spread": Quantity.of(spread.spread / mean, "1", _scaled(spread.u_spread, 1 / mean)),
    }


def _levels(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    """Peak, residual and swing; none where a single cycle leaves their scatter unknown."""
    outline, gauge = analysis.shape, shared.gauge
    high = outline.high.value + median(known(analysis.peak))
    low = outline.low.value + median(known(analysis.residual))
    u_high, u_low = (MEDIAN_FACTOR * part.u_mean for part in (shared.peaks, shared.residuals))
    if not all(map(isfinite, (high, low, u_high, u_low))):
        return {}
    one, two = outline.high.error, outline.low.error
    sampling = (one, two, sqrt(one**2 + two**2 + 2 * OUTWARD * one * two))
    scattered = (u_high, u_low, hypot(u_high, u_low))
    systematic = (gauge.level(high), gauge.level(low), gauge.difference(high, low))
    names = ("peak_vacuum", "residual_vacuum", "vacuum_swing")
    return {
        name: Quantity.of(value, "mmHg", {"sampling": noise, "scatter": drawn} | parts)
        for name, value, noise, drawn, parts in zip(
            names, (high, low, high - low), sampling, scattered, systematic, strict=True
        )
    }


def _mean_vacuum(signal: Signal, analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    """Time average from the first to the last rise, by trapezia, less what these make of the common cycle.

    At few samples a cycle trapezia cut corners, alike in every cycle where sampling keeps step with the pump.
    """
    rises = analysis.slots.start[analysis.slots.rise >= 0]
    first, last = float(rises[0]), float(rises[-1])
    inside = slice(*np.searchsorted(signal.seconds, [first, last]))
    seconds, vacuum = signal.seconds[inside], signal.vacuum[inside]
    if seconds.size < 3:
        return {}
    outline = analysis.shape
    middle = 0.5 * (outline.high.value + outline.low.value)
    ends = 0.5 * ((seconds[0] - first) * (middle + vacuum[0]) + (last - seconds[-1]) * (middle + vacuum[-1]))
    over, hidden = analysis.between
    value = (kernels.course.area(seconds, vacuum) + ends - over) / (last - first)
    duty = shared.duties.mean
    own = (duty * shared.peaks.u_mean, (1 - duty) * shared.residuals.u_mean)
    turns = outline.swing * shared.duties.u_mean
    u_lost = (
        _losses(analysis)["loss_rate"].u / 100 * (value - outline.low.value) if any(analysis.loss) else 0.0
    )
    parts = {
        "scatter": hypot(*own, turns, u_lost),
        "sampling": hypot(analysis.deviations.noise_throughout / sqrt(seconds.size), hidden),
        **shared.gauge.level(value),
    }
    return {"mean_vacuum": Quantity.of(value, "mmHg", parts)}


def _seconds(timed: Timed) -> Quantity:
    return Quantity.of(timed.value, "s", {"sampling": timed.error, "clock": timed.value * CLOCK})


def _times(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    outline, period = analysis.shape, analysis.profile.period
    duty, u_duty = outline.width.value / period, outline.width.error / period
    steep, hold = outline.steepest, _seconds(outline.hold)
    relative = shared.gauge.gain(outline.high.value, outline.low.value) | {"clock": CLOCK}
    return {
        "pull_time": _seconds(outline.pull),
        "release_time": _seconds(outline.release),
        "hold_time": Quantity.of(hold.value, "s", {**hold.parts, "scatter": shared.widths.u_mean}),
        "duty_factor": Quantity.of(duty, "1", {"sampling": u_duty, "scatter": shared.duties.u_mean}),
        "peak_pull_rate": Quantity.of(
            steep.value, "mmHg/s", {"sampling": steep.error} | _scaled(relative, steep.value)
        ),
    }


def _spreads(analysis: Analysis, shared: Budget) -> dict[str, Quantity]:
    peak = analysis.shape.high.value
    if peak <= 0:
        return {}
    parts = _scaled(shared.peaks.u_spread, 1 / peak)
    return {"peak_spread": Quantity.of(shared.peaks.spread / peak, "1", parts)}


def _losses(analysis: Analysis) -> dict[str, Quantity]:
    """Loss events per 100 due cycles; the uncertainty is that of a share with a uniform prior."""
    due = len(analysis.loss)
    lost = due - analysis.loss.count("")
    one, two = lost + 1.0, due - lost + 1.0
    u_share = sqrt(one * two / ((due + 2.0) ** 2 * (due + 3.0)))
    return {
        "loss_rate": Quantity.of(100.0 * lost / max(due, 1), "per 100 cycles", {"scatter": 100.0 * u_share})
    }


def _course(analysis: Analysis, shared: Budget, edition: Edition) -> dict[str, Quantity]:
    """peak_drift and settling_time, from the peaks in order of time."""
    good = np.isfinite(analysis.peak)
    at, peak = analysis.slots.start[good], _own_peaks(analysis)[good]
    if at.size < 4:
        return {}
    slope, square, left = kernels.course.line(at, peak)
    alike = min(max(lag_one(left), 0.0), 0.8)
    grown = few(at.size - 1) * (1 + alike) / (1 - alike)
    u_slope = sqrt(grown * dot(left, left) / (at.size - 2) / square)
    read = min(shared.peak_noise * sqrt(grown / square), u_slope)
    high = analysis.shape.high.value
    relative = shared.gauge.gain(high, analysis.shape.low.value) | {"clock": CLOCK}
    settled, u_settled = settling(*_whole_peaks(analysis), analysis.mean_period, edition.settled_within)
    parts = {"sampling": read, "scatter": sqrt(u_slope**2 - read**2)} | _scaled(relative, abs(slope))
    return {
        "peak_drift": Quantity.of(60 * slope, "mmHg/min", _scaled(parts, 60.0)),
        "settling_time": Quantity.of(settled, "s", {"sampling": u_settled, "clock": settled * CLOCK}),
    }


def _own_peaks(analysis: Analysis) -> Floats:
    """How far each good cycle's peak lies from the common one, mmHg.

    Deviations are means over the top of a cycle; a cycle that is weaker throughout lacks a little less there
    than at its highest.
    """
    outline, level = analysis.shape, analysis.profile.level
    share = (level - outline.low.value) / outline.swing
    near_top = share[share >= min(TOP, float(share.max()))]
    return analysis.peak / float(near_top.mean())


def _whole_peaks(analysis: Analysis) -> tuple[Floats, Floats]:
    """(start, peak) of every cycle that is no loss event, in proportion to the mean over its hold.

    Cycles unlike their neighbours, as when a pump builds up, take no part in the common cycle, so deviations
    from that one do not serve here.
    """
    whole = np.array([not kind for kind in analysis.loss], dtype=bool)
    low, high = analysis.shape.low.value, analysis.shape.high.value
    held = analysis.hold[whole] - low
    return analysis.slots.start[whole], low + (high - low) / median(held) * held
