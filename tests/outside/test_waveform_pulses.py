"""Analytic pulses under the definitions of IEC 60469 / IEEE 181: 10-90 % transitions, mid-reference, duty.

The expected values are closed forms; the crossings of the sampled pulse are found a second time with
scipy.interpolate.PPoly, which solves each piece exactly.
"""

import math

import numpy as np
import pytest
from scipy.interpolate import PPoly

from registry.waveform import Declared, GaugeSpec, measure

GAUGE = GaugeSpec(0, 500, 0.001, accuracy_mmhg=0.01)
RATES = [50.0, 100.0, 500.0]
PERIOD = 1.0137  # out of step with the sampling, so that phases differ from cycle to cycle


def sampled(shape, rate, low, high, seconds=30.0):
    at = np.arange(int(seconds * rate)) / rate
    vacuum = low + (high - low) * shape(np.mod(at + 0.4 * PERIOD, PERIOD) / PERIOD)
    return at, vacuum


def metrics(at, vacuum):
    rows = "\n".join(f"{t:.6f},{v:.9f}" for t, v in zip(at, vacuum, strict=True))
    data = f"Time (s),Vacuum (mmHg)\n{rows}\n".encode()
    return measure(data, gauge=GAUGE, declared=Declared(zero_offset_mmhg=0.0)).metrics


def trapezoid(phase):
    """Rise 0.2, hold 0.3, fall 0.1, rest 0.4 of the period."""
    return np.interp(phase, [0, 0.2, 0.5, 0.6, 1], [0, 1, 1, 0, 0])


def half_sine(phase):
    """A half sine over 0.6 of the period, then rest."""
    return np.where(phase < 0.6, np.sin(np.pi * np.minimum(phase, 0.6) / 0.6), 0.0)


def raised_cosine(phase):
    """One raised cosine over the whole period."""
    return 0.5 - 0.5 * np.cos(2 * np.pi * phase)


# 10-90 % rise, duty factor and mean, as shares of the period (closed forms).
TRUTHS = {
    # 0.8 of the ramp; hold + half of both ramps; the same for the mean.
    trapezoid: (0.8 * 0.2, 0.3 + 0.15, 0.45),
    # (asin 0.9 - asin 0.1)/pi of the pulse; 2/3 of the pulse above half; 2/pi of the pulse.
    half_sine: (0.6 * (math.asin(0.9) - math.asin(0.1)) / math.pi, 0.6 * 2 / 3, 0.6 * 2 / math.pi),
    # 2 asin(0.8) / 2 pi; one half; one half.
    raised_cosine: (2 * math.asin(0.8) / (2 * math.pi), 0.5, 0.5),
}


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("shape", TRUTHS, ids=lambda shape: shape.__name__)
def test_closed_forms(shape, rate):
    rise, duty, mean = TRUTHS[shape]
    found = metrics(*sampled(shape, rate, 20.0, 220.0))
    assert found["cycle_rate"].value == pytest.approx(60 / PERIOD, rel=5e-5)
    assert found["peak_vacuum"].value == pytest.approx(220.0, abs=0.3)
    assert found["residual_vacuum"].value == pytest.approx(20.0, abs=0.3)
    assert found["pull_time"].value == pytest.approx(rise * PERIOD, rel=0.006)
    assert found["duty_factor"].value == pytest.approx(duty, abs=0.002)
    assert found["mean_vacuum"].value == pytest.approx(20 + 200 * mean, abs=0.3)


def test_release_of_the_trapezoid():
    found = metrics(*sampled(trapezoid, 100.0, 20.0, 220.0))
    assert found["release_time"].value == pytest.approx(0.08 * PERIOD, rel=0.01)
    assert found["hold_time"].value == pytest.approx((0.3 + 0.1 * 0.3) * PERIOD, rel=0.005)
    assert found["peak_pull_rate"].value == pytest.approx(200 / (0.2 * PERIOD), rel=0.02)


def test_an_exponential_pull_takes_the_time_of_its_constant():
    # 10-90 % of a charging curve takes tau ln 9 (closed form) where the curve reaches its end.
    tau = 0.05 * PERIOD

    def charge(phase):
        return np.where(phase < 0.6, -np.expm1(-phase * PERIOD / tau), np.exp(-(phase - 0.6) * PERIOD / tau))

    found = metrics(*sampled(charge, 200.0, 0.0, 200.0))
    assert found["pull_time"].value == pytest.approx(tau * math.log(9), rel=0.02)
    assert found["release_time"].value == pytest.approx(tau * math.log(9), rel=0.02)


@pytest.mark.parametrize("shape", TRUTHS, ids=lambda shape: shape.__name__)
def test_crossings_agree_with_those_of_the_piecewise_polynomial(shape):
    at, vacuum = sampled(shape, 400.0, 20.0, 220.0)
    slopes = np.diff(vacuum) / np.diff(at)

    def crossings(level):
        return PPoly(np.vstack([slopes, vacuum[:-1] - level]), at).roots(extrapolate=False)

    middle = crossings(120.0)
    rising = middle[np.interp(middle + 1e-3, at, vacuum) > 120.0]
    falling = middle[np.interp(middle + 1e-3, at, vacuum) <= 120.0]
    period = float(np.diff(rising).mean())
    falls = falling[np.searchsorted(falling, rising[:-1])]
    found = metrics(at, vacuum)
    assert found["cycle_rate"].value == pytest.approx(60 / period, rel=2e-5)
    assert found["duty_factor"].value == pytest.approx(float(np.mean(falls - rising[:-1])) / period, abs=1e-3)


def test_a_raw_maximum_reads_high_and_the_peak_does_not():
    # A half sine at 1000 Hz with 2 mmHg of noise: the mean of raw maxima is 3.95 mmHg high (simulated apart
    # from this repository, standard deviation 0.89).
    rng = np.random.default_rng(4)
    at, vacuum = sampled(half_sine, 1000.0, 0.0, 200.0)
    noisy = vacuum + 2.0 * rng.standard_normal(at.size)
    cycles = np.floor((at + 0.4 * PERIOD) / PERIOD).astype(int)
    raw = [noisy[cycles == number].max() for number in range(1, cycles.max())]
    assert np.mean(raw) - 200.0 == pytest.approx(3.95, abs=0.9)
    assert metrics(at, noisy)["peak_vacuum"].value == pytest.approx(200.0, abs=0.4)
