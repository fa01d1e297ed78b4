"""All level and time metrics of ideal pulses under IEC 60469 / IEEE 181, against closed forms and scipy.

The limits are those the measurement promises for 60 s traces: cycle_rate 0.03 % (0.1 % below 12 samples a
cycle), levels 0.6 mmHg (1.5 below 20), duty 0.008, transitions the larger of 5 % and half a sample.
"""

import numpy as np
import pytest
from scipy.interpolate import PPoly
from scipy.signal import find_peaks, peak_widths

from registry.waveform import Declared, GaugeSpec, Quantity, measure
from tests.outside.shapes import CORNERED, ROUNDED, Shape

GAUGE = GaugeSpec(0, 500, 0.001, accuracy_mmhg=0.01)
LOW, SWING = 20.0, 200.0
PERIOD = 1.0137  # out of step with the sampling, so that phases differ from cycle to cycle


def sampled(shape: Shape, rate: float, noise: float = 0.0, seed: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """A minute of the pulse, in seconds and mmHg."""
    at = np.arange(int(60 * rate)) / rate
    clean = LOW + SWING * shape.level(np.mod(at + 0.4 * PERIOD, PERIOD) / PERIOD)
    return at, clean + noise * np.random.default_rng(seed).standard_normal(at.size)


def metrics(at: np.ndarray, vacuum: np.ndarray) -> dict[str, Quantity]:
    rows = "\n".join(f"{t:.6f},{v:.6f}" for t, v in zip(at, vacuum, strict=True))
    data = f"Time (s),Vacuum (mmHg)\n{rows}\n".encode()
    return measure(data, gauge=GAUGE, declared=Declared(zero_offset_mmhg=0.0)).metrics


def check_times(found: dict[str, Quantity], shape: Shape, rate: float) -> None:
    for name, share in (("pull_time", shape.pull), ("release_time", shape.release)):
        limit = max(0.05 * share * PERIOD, 0.5 / rate)
        assert found[name].value == pytest.approx(share * PERIOD, abs=limit), name
    assert found["hold_time"].value == pytest.approx(shape.hold * PERIOD, abs=0.5 / rate + 0.005 * PERIOD)
    assert found["duty_factor"].value == pytest.approx(shape.duty, abs=0.008)
    assert found["cycle_rate"].value == pytest.approx(60 / PERIOD, rel=3e-4)
    assert found["mean_vacuum"].value == pytest.approx(LOW + SWING * shape.mean, abs=0.2)


@pytest.mark.parametrize("rate", [50.0, 100.0, 500.0])
@pytest.mark.parametrize("shape", ROUNDED, ids=lambda shape: shape.name)
def test_levels_and_times(shape, rate) -> None:
    found = metrics(*sampled(shape, rate))
    assert found["peak_vacuum"].value == pytest.approx(LOW + SWING, abs=0.1)
    assert found["residual_vacuum"].value == pytest.approx(LOW, abs=0.1)
    check_times(found, shape, rate)


@pytest.mark.parametrize("shape", ROUNDED, ids=lambda shape: shape.name)
def test_levels_and_times_under_noise(shape) -> None:
    off = []
    for seed in range(20):
        found = metrics(*sampled(shape, 100.0, 0.7, seed))
        off += [found["peak_vacuum"].value - LOW - SWING, found["residual_vacuum"].value - LOW]
        check_times(found, shape, 100.0)
    # A single level may lie further off by chance.
    assert np.quantile(np.abs(off), 0.95) < 0.6
    assert np.max(np.abs(off)) < 1.2


@pytest.mark.parametrize("rate", [50.0, 100.0, 500.0])
@pytest.mark.parametrize("shape", CORNERED, ids=lambda shape: shape.name)
def test_times_of_pulses_that_turn_in_one_point(shape, rate) -> None:
    check_times(metrics(*sampled(shape, rate)), shape, rate)


@pytest.mark.parametrize("shape", CORNERED, ids=lambda shape: shape.name)
def test_a_corner_is_cut_by_less_than_a_hundredth_of_the_swing(shape) -> None:
    found = metrics(*sampled(shape, 100.0))
    assert found["peak_vacuum"].value == pytest.approx(LOW + SWING, abs=0.01 * SWING)
    assert found["residual_vacuum"].value == pytest.approx(LOW, abs=0.01 * SWING)


@pytest.mark.parametrize("noise", [0.0, 0.7])
@pytest.mark.parametrize("shape", [*ROUNDED, *CORNERED], ids=lambda shape: shape.name)
def test_the_steepest_rise_at_500_hz(shape, noise) -> None:
    found = metrics(*sampled(shape, 500.0, noise))["peak_pull_rate"]
    expected = SWING * shape.steepest / PERIOD
    # The exponential is steepest in the one instant it starts, which its stated uncertainty has to admit.
    assert found.value == pytest.approx(expected, abs=max(0.03 * expected, 2 * found.u))
    assert found.u < expected


@pytest.mark.parametrize("shape", [*ROUNDED, *CORNERED], ids=lambda shape: shape.name)
def test_widths_against_scipy(shape) -> None:
    at, vacuum = sampled(shape, 500.0)
    found = metrics(at, vacuum)
    peaks, _ = find_peaks(vacuum, prominence=0.5 * SWING, distance=int(0.6 * PERIOD * 500))
    # Peaks at the very ends lack a foot, against which scipy measures the height of their widths.
    inner = peaks[1:-1]
    middle, upper = (np.median(peak_widths(vacuum, inner, rel_height=depth)[0]) / 500 for depth in (0.5, 0.1))
    assert found["duty_factor"].value == pytest.approx(middle / PERIOD, abs=0.003)
    assert found["hold_time"].value == pytest.approx(upper, abs=0.005 * PERIOD)


@pytest.mark.parametrize("shape", ROUNDED, ids=lambda shape: shape.name)
def test_instants_against_the_roots_of_the_piecewise_polynomial(shape) -> None:
    at, vacuum = sampled(shape, 400.0)
    slopes = np.diff(vacuum) / np.diff(at)

    def crossings(share: float, *, rising: bool) -> np.ndarray:
        pieces = PPoly(np.vstack([slopes, vacuum[:-1] - LOW - share * SWING]), at)
        roots = pieces.roots(extrapolate=False)
        upward = slopes[np.searchsorted(at, roots, side="right").clip(1, slopes.size) - 1] > 0
        return roots[upward == rising]

    up, down = ([crossings(share, rising=rising) for share in (0.1, 0.5, 0.9)] for rising in (True, False))
    middle = up[1][1:-1]
    start, end = up[0][np.searchsorted(up[0], middle) - 1], up[2][np.searchsorted(up[2], middle)]
    falls = down[1][np.searchsorted(down[1], middle)]
    left, gone = down[2][np.searchsorted(down[2], falls) - 1], down[0][np.searchsorted(down[0], falls)]
    found = metrics(at, vacuum)
    assert found["cycle_rate"].value == pytest.approx(60 / np.diff(middle).mean(), rel=2e-5)
    assert found["duty_factor"].value * PERIOD == pytest.approx(np.mean(falls - middle), abs=1e-3)
    assert found["pull_time"].value == pytest.approx(np.mean(end - start), rel=0.01, abs=1e-3)
    assert found["release_time"].value == pytest.approx(np.mean(gone - left), rel=0.01, abs=1e-3)
    assert found["hold_time"].value == pytest.approx(np.mean(left - end), abs=4e-3)
