"""Random traces of pumps, benches and other things that findings are about; see `faults`."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from . import faults
from .faults import Case, Floats, Generator, any_bench, any_pump, case, joined, traced
from .truth import Pump

LOST = ("losses",)
AIMLESS = (
    "losses", "irregular", "noise_high", "resolution_coarse", "not_a_pump", "too_few_cycles", "few_cycles",
    "double_pulse", "paused", "two_settings", "rate_unlikely", "gauge_clipped", "spikes", "peak_drifts",
    "battery_falling",
)  # fmt: skip


def _at(seconds: float, rate_hz: float) -> Floats:
    return np.arange(int(seconds * rate_hz)) / rate_hz


# ---- no pump


def noise_alone(rng: Generator) -> Case:
    """White or smoothed noise."""
    at = _at(60, 50)
    width = int(rng.choice([1, 5, 20]))
    vacuum = np.convolve(rng.standard_normal(at.size + width - 1), np.ones(width) / width**0.5, "valid")
    return case(at, 60 + rng.uniform(10, 40) * vacuum, *NO_PUMP)


def random_walk(rng: Generator) -> Case:
    """A sum of steps, as of a hand on the tubing."""
    at = _at(60, 50)
    return case(at, 80 + 2.0 * np.cumsum(rng.standard_normal(at.size)), *NO_PUMP)


def ramp(rng: Generator) -> Case:
    """One slow pull."""
    at = _at(60, 50)
    vacuum = rng.uniform(50, 250) * np.clip(at / rng.uniform(20, 60), 0, 1)
    return case(at, vacuum + 0.3 * rng.standard_normal(at.size), *NO_PUMP)


def constant(rng: Generator) -> Case:
    """A gauge that hangs in the air or is not connected."""
    at = _at(60, 50)
    return case(at, rng.uniform(0, 200) + 0.3 * rng.standard_normal(at.size), *NO_PUMP)


def heartbeat(rng: Generator) -> Case:
    """Narrow spikes at uneven intervals with waves between, as interference of another device makes."""
    at = _at(60, 100)
    between = (60 / rng.uniform(55, 90)) * (1 + 0.25 * rng.standard_normal(120))
    beats = np.cumsum(np.maximum(between, 0.3))
    waves = ((0.0, 0.012, 1.0), (0.22, 0.05, 0.25), (-0.16, 0.03, 0.12), (0.03, 0.012, -0.2))
    vacuum = sum(
        height * np.exp(-0.5 * ((at - beat - later) / width) ** 2)
        for beat in beats
        for later, width, height in waves
    )
    return case(at, 20 + rng.uniform(15, 80) * vacuum + rng.standard_normal(at.size), *NO_PUMP)


def too_quick_or_slow(rng: Generator) -> Case:
    """A saw-tooth at 200 to 290 or at 8 to 12 a minute: no breast pump, or times in the wrong unit."""
    rate = rng.uniform(200, 290) if rng.random() < 0.5 else rng.uniform(8, 12)
    at = _at(60, 200)
    phase = np.mod(at * rate / 60, 1.0)
    vacuum = (
        20 + 150 * np.interp(phase, [0.0, 0.7, 1.0], [0.0, 1.0, 0.0]) + 0.3 * rng.standard_normal(at.size)
    )
    return case(at, vacuum, "rate_unlikely", may=("few_cycles",))


def weak_signal(rng: Generator) -> Case:
    """Next to no vacuum."""
    pump = any_pump(rng, low=rng.uniform(0, 5))
    pump = replace(pump, high=pump.low + rng.uniform(2, 8))
    seconds, vacuum = traced(pump, any_bench(rng, noise=0.2, resolution=0.1), rng)
    return case(
        seconds, vacuum, "weak_signal", may=("noise_high", "resolution_coarse", "losses", "irregular")
    )


NO_PUMP = ("held as no pump",)


# ---- how it was recorded


def too_few_cycles(rng: Generator) -> Case:
    """Two to three periods of recording."""
    pump = any_pump(rng)
    bench = any_bench(rng, seconds=rng.uniform(1.3, 2.4) * pump.period, rate_hz=100.0)
    return case(*traced(pump, bench, rng), "held for few cycles")


def few_cycles(rng: Generator) -> Case:
    """Four to seven whole cycles."""
    pump = any_pump(rng)
    bench = any_bench(rng, seconds=rng.uniform(5.2, 7.8) * pump.period, rate_hz=100.0)
    return case(*traced(pump, bench, rng), "few_cycles")


def sampled_too_slowly(rng: Generator) -> Case:
    """Fewer than five samples a cycle."""
    pump = any_pump(rng)
    bench = any_bench(rng, rate_hz=rng.uniform(2.3, 4.9) / pump.period)
    return case(*traced(pump, bench, rng), "sampled_too_slowly", may=AIMLESS)


def sampled_coarsely(rng: Generator) -> Case:
    """Seven to eleven samples a cycle."""
    pump = any_pump(rng)
    bench = any_bench(rng, rate_hz=rng.uniform(7.0, 11.0) / pump.period)
    return case(*traced(pump, bench, rng), "sampled_coarsely")


def noise_high(rng: Generator) -> Case:
    """Noise of 3 to 8 % of the swing."""
    pump = any_pump(rng)
    noise = max(rng.uniform(0.03, 0.08) * (pump.high - pump.low), 2.5)
    return case(*traced(pump, any_bench(rng, noise=noise, rate_hz=100.0), rng), "noise_high")


def resolution_coarse(rng: Generator) -> Case:
    """Readings in steps of a thirtieth to a tenth of the swing."""
    pump = any_pump(rng)
    step = rng.uniform(1 / 30, 1 / 10) * (pump.high - pump.low)
    seconds, vacuum = traced(pump, any_bench(rng, resolution=step, rate_hz=100.0), rng)
    return case(seconds, vacuum, "resolution_coarse", may=("gauge_clipped", "noise_high"))


# ---- what the pump does


def two_settings(rng: Generator) -> Case:
    """Two or three stretches that differ in vacuum by a sixth, in rate by a sixth, or in both."""
    bench = any_bench(rng, rate_hz=100.0)
    first = any_pump(rng, peak_spread=rng.uniform(0.0, 0.012))
    count, what = int(rng.integers(2, 4)), rng.random()
    parts, pump = [], first
    for _ in range(count):
        least = 6 * pump.period
        length = least + rng.uniform(0, 1) * 25
        parts.append(traced(pump, replace(bench, seconds=length, start_phase=0.0), rng)[1])
        pump = _other_setting(pump, rng, vacuum=what < 0.7, rate=what > 0.35)
    return case(*joined(parts, 0.01), "two_settings", may=(*LOST, "irregular", "few_cycles"))


def _other_setting(pump: Pump, rng: Generator, *, vacuum: bool, rate: bool) -> Pump:
    if vacuum:
        factor = rng.uniform(1.17, 1.8) ** rng.choice([-1, 1])
        pump = replace(pump, high=pump.low + (pump.high - pump.low) * factor)
    if rate:
        factor = rng.uniform(1.17, 2.0) ** (1 if pump.period < 0.9 else -1)
        names = ("pull", "hold", "release", "rest")
        pump = replace(pump, **{name: getattr(pump, name) * factor for name in names})
    return pump


def battery_falling(rng: Generator) -> Case:
    """Rate, or rate and vacuum, or vacuum alone fall all the way; the residual stays."""
    pump, bench = any_pump(rng), any_bench(rng, rate_hz=100.0)
    seconds, vacuum = traced(replace(pump, period_spread=0.004, peak_spread=0.006), bench, rng)
    what = int(rng.integers(3))
    slower = rng.uniform(0.05, 0.12) if what != 2 else 0.0
    weaker = rng.uniform(0.13, 0.3) if what != 0 else 0.0
    share = seconds / seconds[-1]
    seen = np.interp(seconds - slower / 2 * share * seconds, seconds, vacuum)
    falling = pump.low + (seen - pump.low) * (1 - weaker * share)
    return case(seconds, falling, "battery_falling")


def leak(rng: Generator) -> Case:
    """The residual rises slowly; the peak as much, or less."""
    pump = any_pump(rng)
    seconds, vacuum = traced(pump, any_bench(rng), rng)
    swing = pump.high - pump.low
    rise = rng.uniform(12, 30)
    nearer = 1 - (vacuum - pump.low) / swing * rng.uniform(0, 1)
    return case(seconds, vacuum + rise * seconds / seconds[-1] * nearer, "leak", may=("peak_drifts",))


def peak_drifts(rng: Generator) -> Case:
    """The peak rises all the way."""
    pump, bench = any_pump(rng), any_bench(rng)
    rise = rng.uniform(0.15, 0.35) * pump.high / (bench.seconds / 60)
    seconds, vacuum = traced(replace(pump, drift_per_min=rise, peak_spread=0.008), bench, rng)
    return case(seconds, vacuum, "peak_drifts")


def losses(rng: Generator) -> Case:
    """One cycle in fifty to one in ten is lost."""
    pump, bench = any_pump(rng), any_bench(rng, rate_hz=100.0)
    for _ in range(50):
        trace = faults.record(replace(pump, loss_share=rng.uniform(0.02, 0.1)), bench, rng)
        if trace.losses:
            break
    return case(trace.seconds, trace.vacuum, "losses")


def paused(rng: Generator) -> Case:
    """Switched off for some cycles, and on again."""
    pump = any_pump(rng)
    bench = any_bench(rng, rate_hz=100.0, seconds=max(45.0, 24 * pump.period), start_phase=0.0)
    seconds, vacuum = traced(pump, bench, rng)
    start = 8 * pump.period
    still = (seconds > start) & (seconds < start + rng.uniform(7, 12) * pump.period)
    return case(seconds, np.where(still, pump.low, vacuum), "paused", may=LOST)


def irregular(rng: Generator) -> Case:
    """A motor that does not keep time."""
    pump = any_pump(rng, period_spread=rng.uniform(0.11, 0.16))
    rest = max(pump.rest, 0.4 * pump.period)
    seconds, vacuum = traced(replace(pump, rest=rest), any_bench(rng, rate_hz=100.0), rng)
    return case(seconds, vacuum, "irregular", may=LOST)


def double_pulse(rng: Generator) -> Case:
    """Two pulls close together, then a rest."""
    at, period = _at(60, 100), 60 / rng.uniform(30, 70)
    second = rng.uniform(0.8, 1.0)
    marks = [0, 0.08, 0.2, 0.28, 0.32, 0.4, 0.5, 0.58, 1]
    shape = np.interp(np.mod(at / period, 1.0), marks, [0, 1, 1, 0, 0, second, second, 0, 0])
    return case(at, 15 + 150 * shape + 0.3 * rng.standard_normal(at.size), "double_pulse")


NOT_PUMPS: dict[str, Callable[[Generator], Case]] = {
    maker.__name__: maker for maker in (noise_alone, random_walk, ramp, constant, heartbeat)
}
FAULTS: dict[str, Callable[[Generator], Case]] = {
    maker.__name__: maker
    for maker in (
        faults.gauge_undeclared, faults.gauge_clipped, faults.over_range_samples, faults.zero_unknown,
        faults.zero_far_off, faults.ambient_unknown, faults.sign_assumed, faults.time_unit_assumed,
        faults.unlike_usual, faults.rate_disagrees, faults.clock_rebuilt, faults.clock_uneven, faults.gaps,
        faults.many_gaps, faults.spikes, too_quick_or_slow, weak_signal, too_few_cycles, few_cycles,
        sampled_too_slowly, sampled_coarsely, noise_high, resolution_coarse, two_settings, battery_falling,
        leak, peak_drifts, losses, paused, irregular, double_pulse, *NOT_PUMPS.values(),
    )
}  # fmt: skip
