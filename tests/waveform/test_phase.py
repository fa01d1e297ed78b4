"""The phase of random double pumps against what was made, in its random standard uncertainties."""

from dataclasses import replace

import numpy as np
import pytest

from registry.waveform import Measured, Reading, measure_reading
from registry.waveform.sides import phase

from .readings import EXACT, ZEROED, reading_of
from .truth import FLANKS, Floats, random_bench, random_pump, record_double

KINDS = {
    "steady, sides alike": {"scatter": False},
    "scatters, sides alike": {"scatter": True},
    "scatters, loses cycles, sides unlike": {"scatter": True, "losses": True, "unlike": True},
}
FURTHEST = 4.0  # a few traces sampled in step with the pump are further off; they count as this


def double(
    rng: np.random.Generator, *, scatter: bool, losses: bool = False, unlike: bool = False
) -> tuple[tuple[Measured, Measured], tuple[Reading, Reading], float, float]:
    """Both sides measured and read, the phase that was made, and the period, in s."""
    left, bench = random_pump(rng, scatter=scatter, losses=losses), random_bench(rng)
    other = {"high": left.high * rng.uniform(0.8, 1.1), "pull_flank": str(rng.choice(FLANKS))}
    right = replace(left, **other) if unlike else left
    lag = rng.uniform(-0.5, 0.5) * left.period
    one, two, truth = record_double(left, right, lag, bench, rng)
    readings = reading_of(one), reading_of(two)
    gauge = replace(EXACT, resolution_mmhg=bench.resolution)
    first, second = (measure_reading(reading, gauge=gauge, declared=ZEROED) for reading in readings)
    return (first, second), readings, truth, left.period


def offs(kind: str, count: int, seed: int) -> Floats:
    """Errors of the phase in its random standard uncertainty, those around a circle the short way."""
    rng, found = np.random.default_rng(seed), []
    for _ in range(count):
        sides, readings, truth, period = double(rng, **KINDS[kind])
        lag = phase(*sides, readings)
        assert lag is not None
        off = (lag.value - truth + period / 2) % period - period / 2
        found.append(off / lag.u_random)
    return np.array(found)


def test_the_random_uncertainty_of_the_phase_is_neither_too_large_nor_too_small():
    off = np.concatenate([offs(kind, 70, seed=31) for kind in KINDS])
    assert 0.7 <= np.sqrt(np.mean(np.clip(off, -FURTHEST, FURTHEST) ** 2)) <= 1.2
    assert np.mean(np.abs(off) >= FURTHEST) <= 0.02


@pytest.mark.parametrize("kind", KINDS)
def test_two_uncertainties_hold_the_phase(kind):
    assert np.mean(np.abs(offs(kind, 50, seed=32)) <= 2) >= 0.86


def test_half_an_interval_between_the_channels_is_a_systematic_part():
    sides, readings, _, _ = double(np.random.default_rng(33), scatter=False)
    lag = phase(*sides, readings)
    assert lag is not None
    step = 1 / readings[0].understood.rate_hz
    assert lag.u_systematic == pytest.approx(step / 2 / np.sqrt(3), rel=0.01)
