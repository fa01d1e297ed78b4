"""The gauge's errors and the text it writes."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from seed_demo.simulator.air import MMHG_PER_UNIT, ambient_kpa
from seed_demo.simulator.bench import TrueWaveform
from seed_demo.simulator.controller import Schedule
from seed_demo.simulator.dialects import Dialect, write
from seed_demo.simulator.gauge import LoggingGauge, Reading, log

TRUE = LoggingGauge(
    unit="mmHg",
    range_high=400.0,
    resolution=0.1,
    noise=0.0,
    zero=0.0,
    gain=1.0,
    rate_hz=50.0,
    clock_error=0.0,
    clock_jitter_s=0.0,
    lag_s=0.001,
)
WHEN = datetime(2025, 3, 17, 23, 59, 59, 500000, tzinfo=UTC)
NONE = np.array([])


def _steady(vacuum: float, seconds: float = 10.0) -> TrueWaveform:
    t = np.arange(0.0, seconds + 0.001, 0.0025)
    cycles = Schedule(NONE, NONE, NONE, NONE, NONE, NONE.astype(int))
    return TrueWaveform(t, np.full(t.size, vacuum), cycles, seconds)


def _log(gauge: LoggingGauge, truth: TrueWaveform) -> Reading:
    return log(gauge, truth, np.random.default_rng(3))


@pytest.mark.parametrize("unit", sorted(MMHG_PER_UNIT))
def test_reads_in_its_own_unit(unit: str) -> None:
    reading = _log(replace(TRUE, unit=unit, resolution=0.001), _steady(200.0))
    assert reading.vacuum[-1] * MMHG_PER_UNIT[unit] == pytest.approx(200.0, abs=0.001 * MMHG_PER_UNIT[unit])


def test_gain_zero_resolution_and_range_act_in_that_order() -> None:
    gauge = replace(TRUE, gain=1.08, zero=2.0, resolution=0.5)
    assert _log(gauge, _steady(100.1)).vacuum[-1] == pytest.approx(110.0)
    assert _log(replace(gauge, range_high=105.0), _steady(100.1)).vacuum[-1] == 105.0


def test_noise_has_the_stated_deviation() -> None:
    reading = _log(replace(TRUE, noise=0.5, resolution=0.001), _steady(100.0, 60.0))
    assert reading.vacuum[100:].std() == pytest.approx(0.5, rel=0.05)


def test_fast_clock_stamps_a_moment_too_late() -> None:
    truth = _steady(0.0)
    ramp = replace(truth, vacuum=10.0 * truth.t)
    fast = _log(replace(TRUE, clock_error=0.01, resolution=1e-6), ramp)
    assert fast.vacuum[450] == pytest.approx(10.0 * (9.0 / 1.01) - 10.0 * 0.001, abs=0.02)


def test_standard_atmosphere() -> None:
    """ISO 2533 at geopotential 0, 1000 and 3000 m, in Pa: 101325, 89874.6, 70108.5 (computed values)."""
    pascals = [1000.0 * ambient_kpa(h) for h in (0.0, 1000.0, 3000.0)]
    assert pascals == pytest.approx([101325.0, 89874.6, 70108.5], abs=1.5)


def test_plain_dialect() -> None:
    dialect = Dialect(",", ".", "s", negative=False, header=("Time (s)", "Vacuum (mmHg)"))
    reading = Reading(np.array([0.0, 0.02]), np.array([-0.04, 12.34]))
    assert write(dialect, reading, 0.1, WHEN, "G") == b"Time (s),Vacuum (mmHg)\n0.000,0.0\n0.020,12.3\n"


def test_every_twist_of_a_dialect() -> None:
    dialect = Dialect(
        ";",
        ",",
        "ms",
        negative=True,
        header=("t", "p", "T"),
        units_row=("ms", "kPa", "°C"),
        preamble=("Log of {serial}", "Start {when}"),
        extra="21,5",
        encoding="latin-1",
        newline="\r\n",
    )
    reading = Reading(np.array([0.0, 0.0166]), np.array([0.0, 12.346]))
    expected = (
        "Log of G\r\nStart 2025-03-17 23:59:59\r\nt;p;T\r\nms;kPa;°C\r\n0;0,00;21,5\r\n17;-12,35;21,5\r\n"
    )
    written = write(dialect, reading, 0.01, WHEN, "G").decode("latin-1")
    assert written == expected


def test_clock_times_cross_midnight() -> None:
    dialect = Dialect(",", ".", "clock", negative=False, header=("Clock", "mmHg"))
    written = write(dialect, Reading(np.array([0.0, 0.5]), np.zeros(2)), 0.1, WHEN, "G").decode()
    assert [line.split(",")[0] for line in written.splitlines()[1:]] == ["23:59:59.500", "00:00:00.000"]
