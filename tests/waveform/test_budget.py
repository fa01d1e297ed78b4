"""Every uncertainty is the sum of its parts, and each part moves with its own cause only."""

from dataclasses import replace
from math import hypot

import numpy as np
import pytest

from registry.waveform import Declared, GaugeSpec, measure
from registry.waveform.types import RANDOM_PARTS, SYSTEMATIC_PARTS
from registry.waveform.uncertainty import CLOCK_LIMIT

from .files import simple
from .truth import Bench, Pump, record

GAUGE = GaugeSpec(0, 400, 1.0, accuracy_mmhg=0.5, accuracy_fraction=0.002, calibration_u_mmhg=0.3)
PUMP = Pump(peak_spread=0.01, period_spread=0.01)
BENCH = Bench(start_phase=0.7, noise=0.4)
ZEROED = Declared(zero_offset_mmhg=0.0)
LEVELS = ("peak_vacuum", "residual_vacuum", "mean_vacuum")
PULLS = ("vacuum_swing", "peak_pull_rate", "peak_drift")


def metrics(gauge=GAUGE, declared=ZEROED, pump=PUMP, bench=BENCH):
    trace = record(pump, bench, np.random.default_rng(5))
    return measure(simple(trace.seconds, trace.vacuum, 6), gauge=gauge, declared=declared).metrics


@pytest.fixture(scope="module")
def plain():
    return metrics()


def grown(before, after, part, rel=1e-9, also=()):
    """How a part grew, by metric; no other part may have moved, but those named in `also`."""
    factors = {}
    for name, quantity in before.items():
        now = after[name].parts
        for other, u in quantity.parts.items():
            if other == part:
                factors[name] = now[other] / u
            elif other not in also:
                assert now[other] == pytest.approx(u, rel=rel), (name, other)
        assert now.keys() - quantity.parts.keys() <= {part}, name
    return factors


def test_parts_add_up(plain):
    for name, quantity in plain.items():
        assert quantity.parts, name
        assert all(u > 0 for u in quantity.parts.values())
        random = hypot(*(quantity.parts.get(part, 0.0) for part in RANDOM_PARTS))
        systematic = hypot(*(quantity.parts.get(part, 0.0) for part in SYSTEMATIC_PARTS))
        assert quantity.u_random == pytest.approx(random)
        assert quantity.u_systematic == pytest.approx(systematic)
        assert quantity.u == pytest.approx(hypot(random, systematic))


def test_every_part_is_reported_somewhere():
    found = metrics(declared=Declared())
    parts = {part for quantity in found.values() for part in quantity.parts}
    assert parts == {*RANDOM_PARTS, *SYSTEMATIC_PARTS}
    assert set(found["peak_vacuum"].parts) == {*RANDOM_PARTS, *SYSTEMATIC_PARTS} - {"clock"}


def test_accuracy_moves_its_part_only(plain):
    twice = replace(GAUGE, accuracy_mmhg=1.0, accuracy_fraction=0.004)
    factors = grown(plain, metrics(twice), "accuracy")
    assert factors == pytest.approx(dict.fromkeys((*LEVELS, *PULLS), 2.0))


def test_calibration_moves_levels_only(plain):
    factors = grown(plain, metrics(replace(GAUGE, calibration_u_mmhg=0.6)), "calibration")
    assert factors == pytest.approx(dict.fromkeys(LEVELS, 2.0))


def test_an_unknown_zero_is_in_the_zero_part_of_levels_and_cancels_in_differences(plain):
    unknown = metrics(declared=Declared())
    grown(plain, unknown, "zero")
    for name in plain:
        zero = unknown[name].parts.get("zero", 0.0)
        assert zero == pytest.approx(3.0 / 3**0.5 if name in LEVELS else 0.0), name


def test_resolution_moves_its_part_and_that_of_a_zero_and_a_level_read_with_it(plain):
    coarse = metrics(replace(GAUGE, resolution_mmhg=4.0))
    factors = grown(plain, coarse, "resolution", rel=0.02, also={"zero", "sampling"})
    assert factors.keys() == {*LEVELS, *PULLS}
    assert min(factors.values()) > 4.0


def test_the_clock_is_a_part_of_all_that_holds_time(plain):
    timed = {"cycle_rate", "pull_time", "release_time", "hold_time", "peak_pull_rate", "peak_drift"}
    assert {name for name, quantity in plain.items() if "clock" in quantity.parts} - timed <= {
        "settling_time"
    }
    for name in timed:
        assert plain[name].parts["clock"] == pytest.approx(abs(plain[name].value) * CLOCK_LIMIT / 3**0.5)


def test_scatter_moves_with_the_pump(plain):
    wild = metrics(pump=replace(PUMP, peak_spread=0.03))
    assert wild["peak_vacuum"].parts["scatter"] > 2.5 * plain["peak_vacuum"].parts["scatter"]
    for name in ("peak_spread", "peak_drift"):
        assert wild[name].parts["scatter"] > 2.5 * plain[name].parts["scatter"], name
        assert wild[name].parts["sampling"] < 2 * plain[name].parts["sampling"], name
    assert wild["cycle_rate"].parts == pytest.approx(plain["cycle_rate"].parts, rel=0.05)


def test_sampling_moves_with_noise_and_with_nothing_of_the_pump():
    quiet, noisy = metrics(pump=Pump()), metrics(pump=Pump(), bench=replace(BENCH, noise=1.6))
    for name in ("peak_vacuum", "vacuum_swing", "mean_vacuum", "peak_drift", "cycle_rate"):
        assert noisy[name].parts["sampling"] > 2.0 * quiet[name].parts["sampling"], name
    for name in LEVELS:
        assert noisy[name].parts["accuracy"] == pytest.approx(quiet[name].parts["accuracy"], rel=0.01)


def test_a_steady_pump_has_next_to_no_scatter(plain):
    steady = metrics(pump=Pump())
    for name in ("cycle_rate", "peak_vacuum"):
        assert steady[name].parts.get("scatter", 0.0) < 0.1 * plain[name].parts["scatter"], name


def test_shares_of_time_do_not_hang_on_the_gauge(plain):
    for name in ("duty_factor", "period_spread", "loss_rate", "peak_spread"):
        assert plain[name].u_systematic == 0.0, name
