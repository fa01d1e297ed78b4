"""Counting cycles: scipy.signal.find_peaks as a second opinion over many random traces."""

import numpy as np
import pytest
from scipy.signal import find_peaks

from registry.waveform.cycles import find_crossings
from tests.waveform.truth import random_bench, random_pump, record


@pytest.mark.parametrize("block", range(4))
def test_as_many_cycles_as_prominent_peaks(block):
    for number in range(25):
        rng = np.random.default_rng([block, number])
        pump, bench = random_pump(rng), random_bench(rng)
        trace = record(pump, bench, rng)
        found = find_crossings(trace.seconds, trace.vacuum, (0.3, 0.5, 0.7))
        width = max(int(0.05 * pump.period * bench.rate_hz), 1)
        smooth = np.convolve(trace.vacuum, np.ones(width) / width, "same")
        apart = max(int(0.6 * pump.period * bench.rate_hz), 1)
        peaks, _ = find_peaks(smooth, prominence=0.5 * (pump.high - pump.low), distance=apart)
        assert found is not None
        assert abs(found.rise.size - peaks.size) <= 1, (block, number)
        assert found.period == pytest.approx(pump.period, rel=0.02)


def test_crossings_lie_where_the_cycle_passes_half():
    rng = np.random.default_rng(77)
    pump, bench = random_pump(rng), random_bench(rng)
    trace = record(pump, bench, rng)
    found = find_crossings(trace.seconds, trace.vacuum, (0.3, 0.5, 0.7))
    at_rise = np.interp(found.rise, trace.seconds, trace.vacuum)
    assert np.median(at_rise) == pytest.approx(0.5 * (pump.high + pump.low), abs=0.1 * (pump.high - pump.low))
