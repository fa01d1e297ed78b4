"""A recording that begins in open air: the idle stretch gives the zero and is no cycle and no loss event."""

import pytest

from registry.waveform import measure
from tests.traces import trace_bytes

# Two seconds of open air with 0.3 mmHg of noise, then trapezoid cycles from 20 to 200 mmHg.
LEADS = [(60 + n / 10, n) for n in range(0, 300, 7)] + [(67.7, 77), (74.1, 141)]


@pytest.mark.parametrize(("rate", "seed"), LEADS)
def test_an_idle_lead_is_no_cycle(rate, seed):
    measured = measure(trace_bytes(seconds=20, rate_cpm=rate, seed=seed))
    assert measured.metrics["loss_rate"].value == 0
    assert measured.metrics["cycle_rate"].value == pytest.approx(rate, rel=2e-3)
    assert measured.cycles.start_s[0] > 1.9
    assert not measured.holds


def test_an_idle_lead_of_two_seconds_gives_the_zero():
    measured = measure(trace_bytes())
    assert measured.understood.zero_basis != "unknown"
    assert "zero_unknown" not in {finding.code for finding in measured.findings}


@pytest.mark.parametrize("seed", [1022, 1072])
def test_plenty_of_cycles_are_never_too_few(seed):
    measured = measure(trace_bytes(seconds=60, hertz=100, rate_cpm=72, seed=seed))
    assert not measured.holds


@pytest.mark.parametrize("seed", range(60))
def test_half_a_minute_is_always_enough(seed):
    measured = measure(trace_bytes(seed=seed))
    assert not measured.holds
    assert len(measured.cycles.loss) == pytest.approx(27, abs=1)


def test_the_uncertainty_of_a_steep_release_stays_small():
    measured = measure(trace_bytes())
    assert measured.metrics["release_time"].u < 0.02
