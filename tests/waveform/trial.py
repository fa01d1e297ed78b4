"""A trial on random traces with known truth: `python -m tests.waveform.trial --traces 500 --files 10000`.

Errors against what was made; coverage of value +- 2u against what the pump does on average on a gauge with
errors of its own; loss events found against those made; damaged files; and time against reading alone.
"""

import argparse
import io
import resource
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from registry.waveform import (
    GaugeSpec,
    ReadError,
    measure,
    measure_reading,
    read,
)
from registry.waveform.uncertainty import CLOCK_LIMIT

from . import alarms
from .files import simple
from .lost import losses
from .mutations import measured_somehow, mutated, seeds
from .readings import EXACT, ZEROED, reading_of
from .truth import Bench, Pump, random_bench, random_pump, record


@dataclass
class Errors:
    """Errors of one metric in its unit, as a share of its limit, and in standard uncertainties."""

    error: list[float] = field(default_factory=list)
    share: list[float] = field(default_factory=list)
    z: list[float] = field(default_factory=list)


def limits(pump: Pump, bench: Bench) -> dict[str, float]:
    """Largest error wanted of each metric for this pump on this bench."""
    per_cycle = pump.period * bench.rate_hz
    step = 1.0 / bench.rate_hz
    level = 0.6 if per_cycle >= 20 else 1.5
    truth = nominal(pump)
    return {
        "cycle_rate": (3e-4 if per_cycle >= 12 else 1e-3) * truth["cycle_rate"],
        "peak_vacuum": level,
        "residual_vacuum": level,
        "duty_factor": 0.008,
        "pull_time": max(0.05 * truth["pull_time"], 0.5 * step),
        "release_time": max(0.05 * truth["release_time"], 0.5 * step),
    }


def nominal(pump: Pump) -> dict[str, float]:
    """Truth of a pump without disturbance."""
    quiet = Bench(seconds=2 * pump.period, rate_hz=50 / pump.period, noise=0, resolution=0)
    return record(pump, quiet, np.random.default_rng(0)).truth


def accuracy(count: int, seed: int) -> dict[str, Errors]:
    """Errors of undisturbed pumps over random shapes, rates, noise, resolution and jitter."""
    rng = np.random.default_rng(seed)
    found: dict[str, Errors] = {}
    for _ in range(count):
        pump, bench = random_pump(rng), random_bench(rng)
        trace = record(pump, bench, rng)
        measured = measure_reading(reading_of(trace), gauge=EXACT, declared=ZEROED)
        for name, limit in limits(pump, bench).items():
            entry = found.setdefault(name, Errors())
            if name not in measured.metrics:
                entry.share.append(np.inf)
                continue
            error = measured.metrics[name].value - trace.truth[name]
            entry.error.append(error)
            entry.share.append(abs(error) / limit)
    return found


def _gauge_drawn(bench: Bench, rng: np.random.Generator) -> tuple[GaugeSpec, Bench]:
    """A gauge's limits, and an error of its own within them."""
    gauge = GaugeSpec(-20, 2000, bench.resolution, rng.uniform(0.2, 2.0), rng.uniform(0, 0.01))
    offset = rng.uniform(-1, 1) * gauge.accuracy_mmhg
    gain = 1 + rng.uniform(-1, 1) * gauge.accuracy_fraction
    return gauge, replace(bench, offset=offset, gain=gain, clock_error=rng.uniform(-1, 1) * CLOCK_LIMIT)


def _zero_drawn(bench: Bench, rng: np.random.Generator) -> Bench:
    """A gauge that shows 0 at open air, as it was declared to: its zero is known to half a step no better."""
    return replace(bench, offset=bench.offset + rng.uniform(-0.5, 0.5) * bench.resolution)


def _builds_up(pump: Pump, rng: np.random.Generator) -> Pump:
    """The pump from standstill: its first peaks lack up to half."""
    return replace(pump, build_up=rng.uniform(0.15, 0.5), build_up_s=rng.uniform(1.5, 8.0) * pump.period)


def coverage(
    count: int, seed: int, *, gauges: bool, scatter: bool, losses: bool = False, build_up: bool = False
) -> dict[str, Errors]:
    """Errors in standard uncertainties against the pump's average behaviour."""
    rng = np.random.default_rng(seed)
    found: dict[str, Errors] = {}
    for _ in range(count):
        pump, bench = random_pump(rng, scatter=scatter, losses=losses), random_bench(rng)
        gauge = replace(EXACT, resolution_mmhg=bench.resolution)
        if gauges:
            gauge, bench = _gauge_drawn(bench, rng)
        if build_up:
            pump, bench = _builds_up(pump, rng), replace(bench, start_phase=-0.5)
        trace = record(pump, _zero_drawn(bench, rng), rng)
        measured = measure_reading(reading_of(trace), gauge=gauge, declared=ZEROED)
        for name, quantity in measured.metrics.items():
            if (losses and name == "mean_vacuum") or (build_up and name != "settling_time"):
                continue  # the truth without losses, or of a settled pump, is no truth here
            error = quantity.value - trace.truth[name]
            entry = found.setdefault(name, Errors())
            entry.error.append(error)
            entry.z.append(error / quantity.u if quantity.u > 0 else (0.0 if error == 0 else np.inf))
    return found


def damaged(count: int, seed: int) -> tuple[Counter[str], float]:
    """(outcomes of damaged files, longest time in s). Any other fault than ReadError ends the trial."""
    sound = seeds()
    outcomes: Counter[str] = Counter()
    longest = 0.0
    measure(sound[0].data)  # loads what is compiled
    for number in range(count):
        rng = np.random.default_rng([seed, number])
        sent = mutated(sound, rng)
        began = time.perf_counter()
        try:
            measured_somehow(sent, rng)
            outcomes["measured"] += 1
        except ReadError as fault:
            outcomes[fault.code] += 1
        longest = max(longest, time.perf_counter() - began)
    return outcomes, longest


def _least_ms(call: Callable[[], object], times: int = 50) -> float:
    spent = []
    for _ in range(times):
        began = time.perf_counter()
        call()
        spent.append(time.perf_counter() - began)
    return 1e3 * min(spent)


def timing(rate_hz: float) -> tuple[float, float, float]:
    """(pandas.read_csv, read, measure) of a minute at that rate, least of fifty, in ms."""
    trace = record(Pump(), Bench(rate_hz=rate_hz), np.random.default_rng(0))
    data = simple(trace.seconds, trace.vacuum)
    plain = _least_ms(lambda: pd.read_csv(io.BytesIO(data)))
    return plain, _least_ms(lambda: read(data)), _least_ms(lambda: measure(data))


def lines(count: int, seed: int) -> Iterator[str]:
    """The report, line by line."""
    yield f"error as a share of its limit, {count} traces"
    for name, entry in accuracy(count, seed).items():
        share = np.array(entry.share)
        middle, high = np.quantile(share, [0.5, 0.99])
        over = int(np.sum(share > 1))
        yield f"  {name:16} median {middle:.3f}  99 % {high:.3f}  most {share.max():.3f}  over {over}"
    for label, options in COVERAGES.items():
        yield f"share within 2u and rms of z, {label}, {count} traces"
        for name, entry in coverage(count, seed + 1, **options).items():
            z = np.array(entry.z)
            yield f"  {name:16} {np.mean(np.abs(z) <= 2):.4f}  {np.sqrt(np.mean(np.minimum(z**2, 1e4))):.2f}"
    found = losses(count, seed + 2)
    off = np.quantile(np.abs(found.off), [0.5, 0.99])
    yield (
        f"loss events: precision {found.precision:.4f}, recall {found.recall:.4f}, right kind "
        f"{found.right_kind:.4f}, off by {off[0]:.3f} of a period (99 %: {off[1]:.3f})"
    )
    for (made, named), times in sorted(found.kinds.items()):
        yield f"  {made:10} found as {named:10} {times}"


COVERAGES = {
    "pump steady, gauge exact": {"gauges": False, "scatter": False},
    "pump scatters, gauge exact": {"gauges": False, "scatter": True},
    "pump scatters, gauge off within its limits": {"gauges": True, "scatter": True},
    "pump scatters and loses cycles, gauge exact": {"gauges": False, "scatter": True, "losses": True},
    "pump scatters and builds up, gauge exact": {"gauges": False, "scatter": True, "build_up": True},
}


def main(arguments: list[str]) -> int:
    """Print the report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=300, help="random traces in each part")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--files", type=int, default=2000, help="damaged files")
    parser.add_argument("--findings", type=int, default=0, help="only findings, on so many traces a kind")
    chosen = parser.parse_args(arguments)
    if chosen.findings:
        for line in alarms.lines(chosen.findings, chosen.seed):
            print(line, flush=True)
        return 0
    for rate in (100.0, 1000.0):
        plain, reading, whole = timing(rate)
        print(f"{rate:.0f} Hz: read_csv {plain:.2f} ms, read {reading:.2f} ms, measure {whole:.2f} ms")
    for line in lines(chosen.traces, chosen.seed):
        print(line, flush=True)
    outcomes, longest = damaged(chosen.files, chosen.seed)
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    took = f"longest {1e3 * longest:.0f} ms, most memory {most:.0f} MiB"
    print(f"{chosen.files} damaged files, {took}: {dict(outcomes.most_common())}")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
