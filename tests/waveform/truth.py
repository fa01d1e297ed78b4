"""Invented traces whose true values are known: pulses made of flanks, holds and rests, then a gauge.

The truth is taken from the noise-free cycle on a dense grid, by counting and by np.interp on its flanks,
so nothing here shares code or method with the measurement.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
FLANKS = ("line", "cosine", "charge", "sigmoid")
DENSE = 200_001


@dataclass(frozen=True)
class Pump:
    """One setting of an invented pump. Times in seconds, vacuum in mmHg, spreads as fractions (sd).

    At the start the peak lacks the share `build_up`, which dies down exponentially within `build_up_s`.
    """

    low: float = 20.0
    high: float = 220.0
    pull: float = 0.25
    hold: float = 0.3
    release: float = 0.15
    rest: float = 0.3
    pull_flank: str = "line"
    release_flank: str = "line"
    sag: float = 0.0
    peak_spread: float = 0.0
    period_spread: float = 0.0
    drift_per_min: float = 0.0
    loss_share: float = 0.0
    build_up: float = 0.0
    build_up_s: float = 5.0

    @property
    def period(self) -> float:
        """Seconds a cycle."""
        return self.pull + self.hold + self.release + self.rest


@dataclass(frozen=True)
class Bench:
    """How the trace is taken. Noise and resolution in mmHg, jitter as a share of the sampling interval."""

    seconds: float = 60.0
    rate_hz: float = 100.0
    noise: float = 0.5
    resolution: float = 0.1
    jitter: float = 0.0
    jitter_logged: bool = True
    clock_error: float = 0.0
    offset: float = 0.0
    gain: float = 1.0
    start_phase: float | None = None


@dataclass(frozen=True)
class Trace:
    """What the logger wrote, and what is true of it."""

    seconds: Floats
    vacuum: Floats
    truth: dict[str, float]
    realised: dict[str, float]
    losses: list[tuple[float, str]] = field(default_factory=list)


def flank(kind: str, x: Floats) -> Floats:
    """A rise from 0 to 1 over x in 0..1 (clipped outside)."""
    x = np.clip(x, 0.0, 1.0)
    if kind == "line":
        return x
    if kind == "cosine":
        return 0.5 - 0.5 * np.cos(np.pi * x)
    if kind == "charge":
        return -np.expm1(-3.5 * x) / -np.expm1(-3.5)
    return x * x * x * (10 - 15 * x + 6 * x * x)


def pulse(pump: Pump, since: Floats, hold: Floats | float) -> Floats:
    """Share of the swing at seconds since the start of a cycle."""
    rising = flank(pump.pull_flank, since / pump.pull)
    falling = flank(pump.release_flank, (since - pump.pull - hold) / pump.release)
    within = np.clip((since - pump.pull) / np.maximum(hold, 1e-9), 0.0, 1.0)
    top = 1.0 - pump.sag * within
    return np.where(since < pump.pull, rising, top * (1.0 - falling))


def nominal_truth(pump: Pump) -> dict[str, float]:
    """Metrics of the undisturbed cycle, from a dense grid."""
    at = np.linspace(0.0, pump.period, DENSE)
    share = pulse(pump, at, pump.hold)
    top = int(np.argmax(share))
    up = [np.interp(level, share[: top + 1], at[: top + 1]) for level in (0.1, 0.5, 0.9)]
    down = [np.interp(-level, -share[top:], at[top:]) for level in (0.1, 0.5, 0.9)]
    swing = pump.high - pump.low
    return {
        "cycle_rate": 60.0 / pump.period,
        "peak_vacuum": pump.high,
        "residual_vacuum": pump.low,
        "vacuum_swing": swing,
        "mean_vacuum": pump.low + swing * float(np.trapezoid(share, at)) / pump.period,
        "pull_time": float(up[2] - up[0]),
        "release_time": float(down[0] - down[2]),
        "hold_time": float(np.mean(share > 0.9)) * pump.period,
        "duty_factor": float(down[1] - up[1]) / pump.period,
        "peak_pull_rate": swing * float(np.max(np.diff(share[: top + 1]) / np.diff(at[: top + 1]))),
        "peak_spread": pump.peak_spread,
        "period_spread": pump.period_spread,
        "peak_drift": pump.drift_per_min,
        "loss_rate": 100.0 * pump.loss_share,
        "settling_time": 0.0,
    }


@dataclass(frozen=True)
class _Plan:
    """Every cycle of a trace before it is sampled."""

    start: Floats
    period: Floats
    high: Floats
    hold: Floats
    kind: list[str]
    depth: Floats


def _plan(pump: Pump, bench: Bench, rng: np.random.Generator) -> _Plan:
    count = int(bench.seconds / pump.period * 1.3) + 4
    period = pump.period * (1 + pump.period_spread * np.clip(rng.standard_normal(count), -3, 3))
    phase = rng.random() if bench.start_phase is None else bench.start_phase
    start = np.concatenate([[0.0], np.cumsum(period)[:-1]]) - phase * period[0]
    high = pump.high * (1 + pump.peak_spread * np.clip(rng.standard_normal(count), -3, 3))
    high = high + pump.drift_per_min * (start - bench.seconds / 2) / 60
    high = high * (1 - pump.build_up * np.exp(-np.maximum(start, 0.0) / pump.build_up_s))
    hold = pump.hold * np.ones(count)
    drawn = rng.random(count) < pump.loss_share
    kinds = rng.choice(["missing", "weak", "collapsed"], count)
    kind = [str(name) if lost else "" for name, lost in zip(kinds, drawn, strict=True)]
    return _Plan(start, period, high, hold, kind, rng.random(count))


def _share(pump: Pump, plan: _Plan, index: NDArray[np.intp], since: Floats) -> Floats:
    share = pulse(pump, since, plan.hold[index])
    kind = np.array(plan.kind)[index]
    depth = plan.depth[index]
    share = np.where(kind == "missing", 0.0, share)
    share = np.where(kind == "weak", share * (0.1 + 0.45 * depth), share)
    fall_at = pump.pull + pump.hold * (0.05 + 0.5 * depth)
    quick = np.clip(1.0 - (since - fall_at) / min(0.6 * pump.release, 0.1 * pump.period), 0.0, 1.0)
    return np.where(kind == "collapsed", np.minimum(share, np.where(since < fall_at, 1.0, quick)), share)


def record(pump: Pump, bench: Bench, rng: np.random.Generator) -> Trace:
    """Sample the pump on the bench. Losses are listed by the start of their cycle (whole cycles only)."""
    plan = _plan(pump, bench, rng)
    ideal = np.arange(int(bench.seconds * bench.rate_hz)) / bench.rate_hz
    shift = bench.jitter / bench.rate_hz * rng.uniform(-1, 1, ideal.size)
    taken = ideal + shift
    read = _read(pump, plan, bench, taken, rng)
    logged = (taken if bench.jitter_logged else ideal) * (1 + bench.clock_error)
    truth = nominal_truth(pump) | {"settling_time": _settled(pump, bench, plan)}
    return Trace(logged, read, truth, _realised(pump, bench, plan), _losses(bench, plan))


def _read(pump: Pump, plan: _Plan, bench: Bench, taken: Floats, rng: np.random.Generator) -> Floats:
    index = np.clip(np.searchsorted(plan.start, taken, side="right") - 1, 0, plan.start.size - 1)
    share = _share(pump, plan, index, taken - plan.start[index])
    true = pump.low + (plan.high[index] - pump.low) * share
    read = bench.offset + bench.gain * true + bench.noise * rng.standard_normal(true.size)
    return np.round(read / bench.resolution) * bench.resolution if bench.resolution else read


def record_double(
    left: Pump, right: Pump, lag: float, bench: Bench, rng: np.random.Generator
) -> tuple[Trace, Trace, float]:
    """Both sides of a double pump with one motor, and its phase: each cycle of the right starts `lag` s late.

    The right pump's times have to be the left one's. The phase is from half the swing to half the swing.
    """
    plan = _plan(left, bench, rng)
    scale = (right.high - right.low) / (left.high - left.low)
    later = replace(plan, start=plan.start + lag, high=right.low + (plan.high - left.low) * scale)
    ideal = np.arange(int(bench.seconds * bench.rate_hz)) / bench.rate_hz
    taken = ideal + bench.jitter / bench.rate_hz * rng.uniform(-1, 1, ideal.size)
    logged = taken if bench.jitter_logged else ideal
    one, two = (
        Trace(logged, _read(pump, cycles, bench, taken, rng), {}, {})
        for pump, cycles in ((left, plan), (right, later))
    )
    return one, two, lag + _half_way(right) - _half_way(left)


def _half_way(pump: Pump) -> float:
    at = np.linspace(0.0, pump.pull, DENSE)
    return float(np.interp(0.5, pulse(pump, at, pump.hold), at))


def _settled(pump: Pump, bench: Bench, plan: _Plan) -> float:
    """When a build-up without scatter, joined by straight lines, has come within 5 % of its last quarter."""
    start = plan.start[_whole(bench, plan)]
    if not pump.build_up or not start.size:
        return 0.0
    peak = 1 - pump.build_up * np.exp(-start / pump.build_up_s)
    final = np.median(peak[-max(peak.size // 4, 3) :])
    return float(np.interp(0.95, peak / final, start - start[0]))


def _whole(bench: Bench, plan: _Plan) -> NDArray[np.bool_]:
    return np.asarray((plan.start >= 0) & (plan.start + plan.period <= bench.seconds), dtype=bool)


def _losses(bench: Bench, plan: _Plan) -> list[tuple[float, str]]:
    whole = _whole(bench, plan)
    rows = zip(plan.start, plan.kind, whole, strict=True)
    return [(float(at), kind) for at, kind, inside in rows if kind and inside]


def _realised(pump: Pump, bench: Bench, plan: _Plan) -> dict[str, float]:
    """What happened in this trace, as against what the pump does on average."""
    usable = _whole(bench, plan) & np.array([not kind for kind in plan.kind])
    return {
        "cycle_rate": 60.0 / float(np.mean(plan.period[usable])) if usable.any() else np.nan,
        "peak_vacuum": float(np.median(plan.high[usable])) if usable.any() else np.nan,
    }


def random_pump(rng: np.random.Generator, *, losses: bool = False, scatter: bool = False) -> Pump:
    """A pump at 20 to 130 cycles/min with a swing of 60 to 300 mmHg and flanks of any kind."""
    period = 60.0 / rng.uniform(20, 130)
    share = rng.dirichlet([3.0, 3.0, 2.5, 3.0]) * 0.8 + 0.05
    low = rng.uniform(0, 60)
    pump = Pump(
        low=low,
        high=low + rng.uniform(60, 300),
        pull=share[0] * period,
        hold=share[1] * period,
        release=share[2] * period,
        rest=share[3] * period,
        pull_flank=str(rng.choice(FLANKS)),
        release_flank=str(rng.choice(FLANKS)),
        sag=float(rng.choice([0.0, 0.0, rng.uniform(0, 0.06)])),
    )
    if losses:
        pump = replace(pump, loss_share=rng.uniform(0, 0.1))
    if scatter:
        pump = replace(pump, peak_spread=rng.uniform(0.002, 0.03), period_spread=rng.uniform(0.001, 0.02))
    return pump


def random_bench(rng: np.random.Generator) -> Bench:
    """25 to 1000 Hz, noise to 1.5 mmHg, resolution to 1 mmHg, jitter to 20 % of a sample."""
    return Bench(
        rate_hz=float(np.exp(rng.uniform(np.log(25), np.log(1000)))),
        noise=rng.uniform(0, 1.5),
        resolution=float(rng.choice([0.0, 0.1, 0.5, 1.0])),
        jitter=rng.uniform(0, 0.2),
        jitter_logged=bool(rng.random() < 0.5),
    )
