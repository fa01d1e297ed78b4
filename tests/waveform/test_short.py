"""Traces cut short anywhere are measured as far as they carry, without a warning and without NaN."""

import numpy as np
import pytest

from registry.waveform import measure

from .files import simple
from .truth import Bench, Pump, record


@pytest.mark.parametrize("loss_share", [0.0, 0.3])
def test_every_length_is_measured_or_held(loss_share):
    bench = Bench(seconds=8, rate_hz=25, start_phase=0.4)
    trace = record(Pump(loss_share=loss_share), bench, np.random.default_rng(6))
    for length in range(10, trace.seconds.size, 3):
        measured = measure(simple(trace.seconds[:length], trace.vacuum[:length]))
        for name, quantity in measured.metrics.items():
            assert np.isfinite([quantity.value, quantity.u]).all(), (name, length)
        assert measured.holds or len(measured.metrics) >= 12
