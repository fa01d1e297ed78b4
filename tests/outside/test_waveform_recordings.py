"""Real recordings of a periodic signal: finger pulses that the package heartpy 1.2.7 (MIT) ships.

P. van Gent, H. Farah, N. van Nes, B. van Arem, J. Open Res. Softw. 7 (2019) 32. Three recordings: `data.csv`,
25 s at 100 Hz without a clock; `data2.csv`, 128 s with a clock in ms, of which the first 40 s are disturbed;
`data3.csv`, 11 minutes with dates, clock steps of up to 49 ms and a rate that wanders. Readings are without
unit; here they are taken for mmHg. The rates are compared to heartpy's own and to one from the spectrum,
found below with scipy.

A pulse repeats as a pump does, so it is measured and not refused as none; what tells it from a pump are its
findings.
"""

import sys
import warnings
from importlib.metadata import distribution
from types import ModuleType, SimpleNamespace

import numpy as np
import pytest
from scipy.signal import periodogram

from registry.waveform import Declared, GaugeSpec, Measured, measure

GAUGE = GaugeSpec(0, 1500, 1.0, accuracy_mmhg=1.0)
FILES = distribution("heartpy")


def lines(name: str) -> list[str]:
    return FILES.locate_file(f"heartpy/data/{name}").read_text().splitlines()


def measured(header: str, rows: list[str], rate_hz: float | None = None) -> Measured:
    data = "\n".join([header, *rows, ""]).encode()
    return measure(data, gauge=GAUGE, declared=Declared(zero_offset_mmhg=0.0, rate_hz=rate_hz))


def spectral_rate(values: np.ndarray, rate_hz: float, low: float, high: float, *, centred: bool) -> float:
    """Cycles/min at the strongest line between two frequencies, or at the centre of what lies about it.

    The centre, within a quarter either way, is the mean rate of a signal whose rate wanders.
    """
    frequency, power = periodogram(values - values.mean(), rate_hz, "hann", nfft=1 << 18)
    within = (frequency > low) & (frequency < high)
    found = frequency[within][np.argmax(power[within])]
    for _ in range(20 if centred else 0):
        about = np.abs(frequency / found - 1) < 0.25
        found = float(frequency[about] @ power[about] / power[about].sum())
    return 60 * float(found)


@pytest.fixture(scope="module")
def heartpy():
    """The package, which wants one function of setuptools' former pkg_resources and warns as it compiles."""
    stand_in = ModuleType("pkg_resources")
    stand_in.resource_filename = lambda package, name: str(FILES.locate_file(f"heartpy/{name}"))
    before = sys.modules.get("pkg_resources")
    sys.modules["pkg_resources"] = stand_in
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import heartpy as package  # noqa: PLC0415
    finally:
        del sys.modules["pkg_resources"]
        if before is not None:
            sys.modules["pkg_resources"] = before
    return package


def heart_rate(heartpy, values: np.ndarray, rate_hz: float) -> SimpleNamespace:
    """heartpy's rate in cycles/min and the standard deviation of its periods over their mean."""
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        _, found = heartpy.process(heartpy.scale_data(values), rate_hz)
    return SimpleNamespace(rate=found["bpm"], spread=found["sdnn"] / found["ibi"])


def codes(found: Measured) -> set[str]:
    return {finding.code for finding in found.findings}


def test_a_clean_recording_without_a_clock(heartpy) -> None:
    rows = lines("data.csv")
    values = np.array(rows, float)
    found, own = measured("Vacuum (mmHg)", rows, rate_hz=100.0), heart_rate(heartpy, values, 100.0)
    rate = found.metrics["cycle_rate"]
    assert own.rate == pytest.approx(58.8988, abs=5e-4)
    assert rate.value == pytest.approx(own.rate, rel=0.002)
    assert rate.value == pytest.approx(spectral_rate(values, 100.0, 0.5, 3.0, centred=False), rel=0.015)
    # The spread of 24 periods is itself known to a seventh.
    assert found.metrics["period_spread"].value == pytest.approx(own.spread, rel=0.15)
    assert not found.holds


def test_a_recording_with_a_disturbed_start(heartpy) -> None:
    header, rows = "timer (ms),vacuum (mmHg)", lines("data2.csv")[1:]
    whole = measured(header, rows)
    assert whole.holds
    assert "not_a_pump" in codes(whole)
    clock = np.array([row.split(",")[0] for row in rows], float)
    clean = [row for row, ms in zip(rows, clock, strict=True) if ms >= 65_000]
    found = measured(header, clean)
    assert not found.holds
    assert found.understood.time_unit == "ms"
    rate_hz = 1000 * (clock.size - 1) / (clock[-1] - clock[0])
    assert found.understood.rate_hz == pytest.approx(rate_hz, rel=1e-4)
    values = np.array([row.split(",")[1] for row in clean], float)
    rate = found.metrics["cycle_rate"].value
    assert rate == pytest.approx(heart_rate(heartpy, values, rate_hz).rate, rel=0.005)
    assert rate == pytest.approx(spectral_rate(values, rate_hz, 0.7, 1.6, centred=True), rel=0.015)


@pytest.fixture(scope="module")
def minutes() -> list[list[str]]:
    """The rows of each whole minute of the long recording."""
    rows = lines("data3.csv")[1:]
    at = np.array([row.split(",")[0] for row in rows], "datetime64[us]")
    minute = ((at - at[0]) / np.timedelta64(60, "s")).astype(int)
    return [[row for row, one in zip(rows, minute, strict=True) if one == number] for number in range(11)]


def test_each_minute_of_a_rate_that_wanders(heartpy, minutes) -> None:
    ours, own, spectral = [], [], []
    for rows in minutes:
        found = measured("datetime,vacuum (mmHg)", rows)
        assert found.understood.time_unit == "ISO 8601"
        assert "clock_rebuilt" in codes(found)
        values = np.array([row.split(",")[1] for row in rows], float)
        rate_hz = len(rows) / 60.0
        ours.append(found.metrics["cycle_rate"].value)
        own.append(heart_rate(heartpy, values, rate_hz).rate)
        spectral.append(spectral_rate(values, rate_hz, 0.7, 2.2, centred=True))
    assert ours == pytest.approx(own, rel=0.015)
    # A spectrum weighs strong beats more, so that single minutes lie further off than their mean does.
    assert ours == pytest.approx(spectral, rel=0.045)
    assert np.mean(ours) == pytest.approx(np.mean(spectral), rel=0.01)


def test_eleven_minutes_that_are_no_steady_pump(heartpy) -> None:
    rows = lines("data3.csv")[1:]
    found = measured("datetime,vacuum (mmHg)", rows)
    values = np.array([row.split(",")[1] for row in rows], float)
    own = heart_rate(heartpy, values, found.understood.rate_hz)
    assert found.metrics["cycle_rate"].value == pytest.approx(own.rate, rel=0.015)
    # No pump's period varies by as much, nor do its levels wander so far.
    assert {"irregular", "noise_high", "clock_rebuilt"} <= codes(found)
    assert {"peak_drifts", "leak", "losses"} & codes(found)
