"""One trace written in many ways gives one answer."""

from dataclasses import replace

import numpy as np
import pytest

from registry.waveform import GaugeSpec, measure, read

from .dialects import DIALECTS
from .files import write
from .truth import Bench, Pump, record

GAUGE = GaugeSpec(0, 400, 0.1, accuracy_mmhg=0.5)


@pytest.fixture(scope="module")
def trace():
    bench = Bench(seconds=30, start_phase=0.6, jitter=0.1)
    made = record(Pump(loss_share=0.04), bench, np.random.default_rng(8))
    return replace(made, seconds=np.round(made.seconds - made.seconds[0], 3))


@pytest.fixture(scope="module")
def plain(trace):
    return measure(write(trace.seconds, trace.vacuum, DIALECTS["plain"]), gauge=GAUGE)


def test_there_are_dialects_enough():
    assert len(DIALECTS) >= 60
    assert sum(dialect.heads is not None for dialect in DIALECTS.values()) >= 8


@pytest.mark.parametrize("name", DIALECTS)
def test_a_dialect_reads_back_what_was_written(name, trace):
    dialect = DIALECTS[name]
    reading = read(write(trace.seconds, trace.vacuum, dialect), dialect.declared, dialect.usual)
    np.testing.assert_allclose(reading.vacuum, trace.vacuum, rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(reading.seconds, trace.seconds, rtol=1e-9, atol=5e-9)
    assert reading.understood.vacuum_unit == DIALECTS[name].unit
    assert reading.shown_sign == DIALECTS[name].sign


@pytest.mark.parametrize("name", DIALECTS)
def test_no_dialect_changes_a_result(name, trace, plain):
    dialect = DIALECTS[name]
    data = write(trace.seconds, trace.vacuum, dialect)
    measured = measure(data, gauge=GAUGE, declared=dialect.declared, usual=dialect.usual)
    assert list(measured.metrics) == list(plain.metrics)
    for metric, quantity in plain.metrics.items():
        scale = max(abs(quantity.value), 1e-3)
        assert measured.metrics[metric].value == pytest.approx(quantity.value, rel=1e-6, abs=1e-6 * scale), (
            metric
        )
        assert measured.metrics[metric].u == pytest.approx(quantity.u, rel=1e-4), metric
    assert [item.code for item in measured.findings] == [item.code for item in plain.findings]
    assert measured.cycles.loss == plain.cycles.loss
