"""Counting cycles: scipy.signal.find_peaks as a second opinion over 320 random traces of a kind of their own.

Pulses run through random knots by scipy's monotone cubic, so that no two have one form; periods vary by up to
2 %, a flutter may ride on the plateau, and readings are noisy and rounded. What the second opinion needs to
know (swing and beat) it takes from the trace, not from the truth.
"""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter1d
from scipy.signal import find_peaks

from registry.waveform import Declared, GaugeSpec, Measured, measure

GAUGE = GaugeSpec(0, 500, 0.1, accuracy_mmhg=1.0)
BLOCKS, EACH, SECONDS = 16, 20, 40.0


def random_trace(rng: np.random.Generator) -> tuple[float, np.ndarray]:
    """(rate in Hz, vacuum in mmHg)."""
    period, rate = 60 / rng.uniform(22, 125), float(rng.choice([40, 50, 100, 250]))
    ends = np.cumsum(rng.dirichlet([4, 4, 3, 4]) * 0.7 + 0.075)
    rise, top, fall = (float(end) for end in ends[:3])
    knots = [0, rise * rng.uniform(0.3, 0.7), rise, top, top + (fall - top) * rng.uniform(0.3, 0.7), fall, 1]
    levels = [0, rng.uniform(0.3, 0.7), 1, rng.uniform(0.9, 1), rng.uniform(0.3, 0.7), 0, 0]
    form = PchipInterpolator(knots, levels)
    starts = np.cumsum(
        period * (1 + rng.uniform(0, 0.02) * rng.standard_normal(int(SECONDS / period * 1.2) + 5))
    )
    starts -= starts[0] + rng.random() * period
    at = np.arange(int(SECONDS * rate)) / rate
    cycle = np.searchsorted(starts, at, side="right") - 1
    share = form(np.minimum((at - starts[cycle]) / np.diff(starts)[cycle], 1.0))
    flutter = rng.choice([0, 0.04]) * np.sin(2 * np.pi * rng.uniform(6, 15) * at) * (share > 0.8)
    swing = rng.uniform(80, 280)
    vacuum = (
        rng.uniform(0, 50) + swing * (share + flutter) + rng.uniform(0, 1.5) * rng.standard_normal(at.size)
    )
    return rate, np.round(vacuum, 1)


def peaks_of(vacuum: np.ndarray, rate: float) -> np.ndarray:
    """Instants of prominent peaks, the beat first taken from crossings of the middle."""
    low, high = np.quantile(vacuum, [0.02, 0.98])
    smooth = gaussian_filter1d(vacuum, 0.03 * rate)
    above = smooth > 0.5 * (low + high)
    beat = float(np.median(np.diff(np.flatnonzero(np.diff(above.astype(int)) == 1))))
    smooth = gaussian_filter1d(vacuum, 0.06 * beat)
    peaks, _ = find_peaks(smooth, prominence=0.5 * float(np.ptp(smooth)), distance=0.5 * beat)
    return peaks / rate


def measured(vacuum: np.ndarray, rate: float) -> Measured:
    rows = "\n".join(f"{v:.1f}" for v in vacuum)
    declared = Declared(zero_offset_mmhg=0.0, rate_hz=rate)
    return measure(f"Vacuum (mmHg)\n{rows}\n".encode(), gauge=GAUGE, declared=declared)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_as_many_cycles_and_the_same_rate(block) -> None:
    for number in range(EACH):
        rate, vacuum = random_trace(np.random.default_rng([57, block, number]))
        found, peaks = measured(vacuum, rate), peaks_of(vacuum, rate)
        assert not found.holds, (block, number, found.findings)
        assert set(found.cycles.loss) == {""}, (block, number)
        # One rise between any two peaks; at either end a peak may lack a foot, or a cycle its peak.
        between = (found.cycles.start_s > peaks[0]) & (found.cycles.start_s < peaks[-1])
        assert between.sum() == peaks.size - 1, (block, number)
        assert 0 <= len(found.cycles) - between.sum() <= 3, (block, number)
        # Where a plateau is flat, noise says which of its points is the peak, most of all at either end.
        rough = 60 * (peaks.size - 1) / (peaks[-1] - peaks[0])
        assert found.metrics["cycle_rate"].value == pytest.approx(rough, rel=0.02), (block, number)
