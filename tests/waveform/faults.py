"""Random traces that have one thing wrong each, and sound ones of every kind: what findings are tried on.

Each maker returns a `Case`: a file, the gauge and what is declared with it, and the findings that are there.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from registry.waveform import Declared, GaugeSpec

from .files import simple
from .truth import Bench, Pump, random_pump, record

Floats = NDArray[np.float64]
Generator = np.random.Generator
GAUGE = GaugeSpec(-50, 600, 0.1, accuracy_mmhg=0.5)
ZEROED = Declared(zero_offset_mmhg=0.0)
NOTHING = Declared()


@dataclass(frozen=True)
class Case:
    """A trace as it is uploaded, and the codes that belong to it: `there` must, `may` can be raised."""

    data: bytes
    there: frozenset[str]
    may: frozenset[str] = frozenset()
    gauge: GaugeSpec | None = GAUGE
    declared: Declared = ZEROED
    usual: Declared = NOTHING


def case(seconds: Floats, vacuum: Floats, *there: str, may: tuple[str, ...] = (), **kinds: object) -> Case:
    """A case from arrays. Coarse sampling may always show."""
    allowed = frozenset({*may, "sampled_coarsely"})
    return Case(simple(seconds, vacuum, 2), frozenset(there), allowed, **kinds)  # type: ignore[arg-type]


def any_bench(rng: Generator, **fixed: float) -> Bench:
    """An ordinary bench: 25 to 200 Hz, little noise, a minute."""
    drawn = Bench(
        seconds=rng.uniform(45, 75),
        rate_hz=float(np.exp(rng.uniform(np.log(30), np.log(200)))),
        noise=rng.uniform(0.05, 0.8),
        resolution=float(rng.choice([0.0, 0.1, 0.5])),
    )
    return replace(drawn, **fixed)


def any_pump(rng: Generator, **fixed: float) -> Pump:
    """An ordinary pump, with the small scatter pumps have."""
    pump = random_pump(rng, scatter=True)
    drawn = replace(pump, peak_spread=min(pump.peak_spread, 0.02), period_spread=pump.period_spread / 2)
    return replace(drawn, **fixed)


def traced(pump: Pump, bench: Bench, rng: Generator) -> tuple[Floats, Floats]:
    """Seconds from the first sample, and vacuum."""
    trace = record(pump, bench, rng)
    return trace.seconds - trace.seconds[0], trace.vacuum


def joined(parts: list[Floats], step: float) -> tuple[Floats, Floats]:
    """One recording of several stretches."""
    vacuum = np.concatenate(parts)
    return np.arange(vacuum.size) * step, vacuum


# ---- sound traces


def sound(rng: Generator) -> Case:
    """An ordinary trace."""
    return case(*traced(any_pump(rng), any_bench(rng), rng))


def slow_or_quick(rng: Generator) -> Case:
    """20 to 25, or 110 to 130 cycles a minute."""
    pump = any_pump(rng)
    rate = rng.uniform(20, 25) if rng.random() < 0.5 else rng.uniform(110, 130)
    scale = 60 / rate / pump.period
    times = {name: getattr(pump, name) * scale for name in ("pull", "hold", "release", "rest")}
    return case(*traced(replace(pump, **times), any_bench(rng, rate_hz=100.0), rng))


def lopsided(rng: Generator) -> Case:
    """A duty of a tenth, or of nine tenths."""
    period, duty = 60 / rng.uniform(25, 100), 0.1 if rng.random() < 0.5 else 0.9
    short = 0.04 * period
    pump = any_pump(
        rng, pull=short, release=short, hold=duty * period - short, rest=(1 - duty) * period - short, sag=0.0
    )
    return case(*traced(pump, any_bench(rng, rate_hz=200.0), rng))


def fluttering(rng: Generator) -> Case:
    """A plateau that flutters by up to a third of the swing."""
    pump = any_pump(rng, peak_spread=0.003, period_spread=0.001)
    pump = replace(pump, hold=max(pump.hold, 0.4 * pump.period), sag=0.0)
    seconds, vacuum = traced(pump, any_bench(rng, rate_hz=200.0), rng)
    swing = pump.high - pump.low
    near = np.clip((vacuum - pump.low) / swing - 0.6, 0.0, 0.4) / 0.4
    depth = rng.uniform(0.05, 0.17) * swing
    flutter = depth * near * (np.sin(2 * np.pi * rng.uniform(6, 12) * seconds) - 1)
    return case(seconds, vacuum + flutter, may=("noise_high",))


def builds_up(rng: Generator) -> Case:
    """A pump that starts within the recording."""
    pump = any_pump(rng, build_up=rng.uniform(0.1, 0.6))
    pump = replace(pump, build_up_s=rng.uniform(1.0, 6.0) * min(pump.period, 1.2))
    return case(*traced(pump, any_bench(rng, start_phase=-0.5), rng))


def drifts_a_little(rng: Generator) -> Case:
    """Peaks that drift by up to 4 % over the recording."""
    pump, bench = any_pump(rng), any_bench(rng)
    drift = rng.uniform(-0.04, 0.04) * (pump.high - pump.low) / (bench.seconds / 60)
    return case(*traced(replace(pump, drift_per_min=drift), bench, rng))


def with_open_air(rng: Generator) -> Case:
    """The gauge off by some mmHg, with open air before the first pull or after the last."""
    pump, bench = any_pump(rng), any_bench(rng, resolution=0.1, noise=0.2, start_phase=0.0)
    pump = replace(pump, low=max(pump.low, 6.0))
    vacuum = traced(pump, bench, rng)[1]
    last = np.flatnonzero(vacuum < pump.low + 1.0)[-1]
    offset = rng.uniform(-6, 6)
    air = 0.2 * rng.standard_normal(int(max(4.0, 3 * pump.period) * bench.rate_hz))
    parts = [air + offset, vacuum[: last + 1] + offset]
    return case(*joined(parts[:: rng.choice([1, -1])], 1 / bench.rate_hz), declared=NOTHING)


SOUND: dict[str, Callable[[Generator], Case]] = {
    maker.__name__: maker
    for maker in (
        sound, slow_or_quick, lopsided, fluttering, builds_up, drifts_a_little, with_open_air,
    )
}  # fmt: skip


# ---- the gauge, the file


def gauge_undeclared(rng: Generator) -> Case:
    """Nothing is known of the gauge."""
    return case(*traced(any_pump(rng), any_bench(rng), rng), "gauge_undeclared", gauge=None)


def gauge_clipped(rng: Generator) -> Case:
    """The gauge's range, declared or not, ends under the peak."""
    pump, bench = any_pump(rng), any_bench(rng, noise=0.6, resolution=0.1)
    top = pump.low + rng.uniform(0.6, 0.93) * (pump.high - pump.low)
    seconds, vacuum = traced(replace(pump, hold=max(pump.hold, 0.15 * pump.period)), bench, rng)
    cut = np.minimum(vacuum, top)
    if rng.random() < 0.5:
        return case(seconds, cut, "gauge_clipped", "gauge_undeclared", gauge=None)
    return case(seconds, cut, "gauge_clipped", gauge=replace(GAUGE, range_high_mmhg=top))


def over_range_samples(rng: Generator) -> Case:
    """The logger writes a word instead of what it cannot show."""
    pump = any_pump(rng)
    seconds, vacuum = traced(pump, any_bench(rng), rng)
    top = pump.low + 0.9 * (pump.high - pump.low)
    text = simple(seconds, vacuum, 2).decode().split("\n")
    rows = [text[0]]
    for row in text[1:-1]:
        at, value = row.split(",")
        rows.append(row if float(value) < top else f"{at},OL")
    data = "\n".join([*rows, ""]).encode()
    return Case(data, frozenset({"over_range_samples", "gauge_clipped"}), frozenset({"sampled_coarsely"}))


def zero_unknown(rng: Generator) -> Case:
    """Neither declared nor shown."""
    return case(*traced(any_pump(rng), any_bench(rng), rng), "zero_unknown", declared=NOTHING)


def zero_far_off(rng: Generator) -> Case:
    """The gauge reads far from zero at open air, as declared."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng), rng)
    zero = float(rng.uniform(12, 40))
    return case(seconds, vacuum + zero, "zero_far_off", declared=Declared(zero_offset_mmhg=zero))


def ambient_unknown(rng: Generator) -> Case:
    """Absolute pressure, and no open air."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng), rng)
    data = simple(seconds, rng.uniform(700, 770) - vacuum, 2).replace(b"Vacuum", b"Pressure")
    wide = replace(GAUGE, range_low_mmhg=-900, range_high_mmhg=900)
    return Case(data, frozenset({"ambient_unknown"}), frozenset({"sampled_coarsely"}), wide, NOTHING)


def sign_assumed(rng: Generator) -> Case:
    """Readings as far under zero as above it."""
    pump = any_pump(rng)
    seconds, vacuum = traced(pump, any_bench(rng), rng)
    shown = vacuum - 0.5 * (pump.high + pump.low)
    return case(seconds, shown, "sign_assumed", "zero_unknown", declared=NOTHING, may=("resolution_coarse",))


def time_unit_assumed(rng: Generator) -> Case:
    """Times without a unit."""
    made = sound(rng)
    data = made.data.replace(b"Time (s)", b"Time")
    return replace(made, data=data, there=frozenset({"time_unit_assumed"}))


def unlike_usual(rng: Generator) -> Case:
    """Another sign, rate or unit than is kept for the gauge."""
    kept = (Declared(unit="kPa"), Declared(sign="negative"), Declared(rate_hz=11.0))
    return replace(sound(rng), there=frozenset({"unlike_usual"}), usual=kept[int(rng.integers(len(kept)))])


def rate_disagrees(rng: Generator) -> Case:
    """A preamble that names another rate than the times show."""
    made = sound(rng)
    return replace(made, data=b"Sample rate: 11 Hz\n" + made.data, there=frozenset({"rate_disagrees"}))


def clock_rebuilt(rng: Generator) -> Case:
    """A clock that counts in tenths of a second."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng, rate_hz=100.0), rng)
    return case(np.floor(seconds * 10) / 10, vacuum, "clock_rebuilt")


def clock_uneven(rng: Generator) -> Case:
    """A computer that logs when it finds the time."""
    bench = any_bench(rng, rate_hz=100.0, jitter=rng.uniform(0.45, 0.49))
    return case(*traced(any_pump(rng), bench, rng), "clock_uneven")


def gaps(rng: Generator) -> Case:
    """Some stretches of samples are missing."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng), rng)
    keep = np.ones(seconds.size, dtype=bool)
    for start in rng.uniform(5, 40, int(rng.integers(1, 4))):
        keep[(seconds > start) & (seconds < start + rng.uniform(0.4, 1.5))] = False
    return case(seconds[keep], vacuum[keep], "gaps")


def many_gaps(rng: Generator) -> Case:
    """A third of the recording is missing."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng), rng)
    keep = (seconds % 9 > 3.2) | (seconds < 6)
    return case(seconds[keep], vacuum[keep], "many_gaps", may=("losses", "few_cycles", "too_few_cycles"))


def spikes(rng: Generator) -> Case:
    """Lone samples far off."""
    seconds, vacuum = traced(any_pump(rng), any_bench(rng, rate_hz=100.0), rng)
    vacuum[rng.choice(seconds.size - 50, int(rng.integers(1, 6)), replace=False) + 25] = rng.uniform(450, 590)
    return case(seconds, vacuum, "spikes")
