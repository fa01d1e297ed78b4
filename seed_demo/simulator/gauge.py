"""A logging vacuum gauge: its sensor, its clock and its errors."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from seed_demo.simulator.air import MMHG_PER_UNIT
from seed_demo.simulator.bench import STEP_S, TrueWaveform

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LoggingGauge:
    """One gauge as it really is; `range_high`, `resolution`, `noise` and `zero` are in its own unit."""

    unit: str
    range_high: float
    resolution: float
    noise: float
    zero: float
    """what it shows in open air"""
    gain: float
    """reading over truth, 1 for a true gauge"""
    rate_hz: float
    clock_error: float
    """share by which its clock runs fast"""
    clock_jitter_s: float
    lag_s: float
    """time constant of the sensor, first order"""


@dataclass(frozen=True)
class Reading:
    """What a gauge logged: stamps in seconds and vacuum in the gauge's unit, rounded and clipped."""

    stamps: Array
    vacuum: Array


def log(gauge: LoggingGauge, truth: TrueWaveform, rng: np.random.Generator) -> Reading:
    """Sample a true waveform.

    The sensor follows y' = (v - y) / lag. A sample stamped t was taken at t / (1 + clock error) + jitter.
    The reading is gain * y + zero + noise, rounded to the resolution and held at the end of the range.
    """
    count = int(truth.length_s * gauge.rate_hz)
    stamps = np.arange(count) / gauge.rate_hz
    taken = stamps / (1.0 + gauge.clock_error) + gauge.clock_jitter_s * rng.uniform(-1.0, 1.0, count)
    sensed = np.interp(taken, truth.t, _lagged(truth.vacuum, gauge.lag_s)) / MMHG_PER_UNIT[gauge.unit]
    shown = gauge.gain * sensed + gauge.zero + gauge.noise * rng.standard_normal(count)
    rounded = np.round(shown / gauge.resolution) * gauge.resolution
    return Reading(stamps, np.minimum(rounded, gauge.range_high))


def _lagged(vacuum: Array, lag_s: float) -> Array:
    """First-order response on the simulation's grid, exact for a value held over each step."""
    keep = np.exp(-STEP_S / lag_s)
    return np.asarray(lfilter([1.0 - keep], [1.0, -keep], vacuum), dtype=float)
