"""What the registry measures of a simulated trace against what the simulator drove."""

from functools import cache

import pytest

from registry.waveform import Declared, GaugeSpec, Measured, ReadError, measure
from seed_demo.scenario.recordings import Recording
from seed_demo.simulator.air import MMHG_PER_UNIT
from tests.seed_demo.conftest import _recordings

SOUND = [r for r in _recordings() if not r.planned.mishap]
MISHAPS = {r.planned.mishap: r for r in _recordings() if r.planned.mishap}


@cache
def _measured(name: str) -> Measured:
    recording = next(r for r in _recordings() if r.planned.name == name)
    run = recording.planned
    known = {gauge.code: gauge for gauge in run.clinic.gauges}
    zero = run.provenance().get("zero_offset")
    declared = Declared(zero_offset_mmhg=None if zero is None else float(zero))
    return measure(recording.data, gauge=_spec(known.get(run.gauge)), declared=declared)


def _spec(gauge: object) -> GaugeSpec | None:
    if gauge is None:
        return None
    said = gauge.declared  # type: ignore[attr-defined]
    factor = MMHG_PER_UNIT[said.unit]
    number = float(said.accuracy.split()[0])
    relative = "%" in said.accuracy
    return GaugeSpec(
        range_low_mmhg=said.range[0] * factor,
        range_high_mmhg=said.range[1] * factor,
        resolution_mmhg=said.resolution * factor,
        accuracy_mmhg=0.0 if relative else number * factor,
        accuracy_fraction=number / 100.0 if relative else 0.0,
    )


def _gain(recording: Recording) -> float:
    run = recording.planned
    return run.clinic.gauge(run.gauge).truth.gain


@pytest.mark.parametrize("recording", SOUND, ids=lambda r: r.planned.name)
def test_sound_recording_is_measured_as_it_was_driven(recording: Recording) -> None:
    """Rate within 0.2 %, peak and residual within 1 mmHg, the gauge's gain aside."""
    truth, measured = recording.truth, _measured(recording.planned.name)
    assert truth is not None
    value = {name: quantity.value for name, quantity in measured.metrics.items()}
    assert value["cycle_rate"] == pytest.approx(truth.cycle_rate, rel=0.002)
    gain = _gain(recording)
    assert value["peak_vacuum"] == pytest.approx(gain * truth.peak_vacuum, abs=1.0)
    assert value["residual_vacuum"] == pytest.approx(gain * truth.residual_vacuum, abs=1.0)
    assert not measured.holds, measured.findings


@pytest.mark.parametrize(
    ("mishap", "codes"),
    [
        ("stopped_after_two_seconds", {"too_few_cycles", "not_a_pump"}),
        ("pump_not_switched_on", {"not_a_pump", "weak_signal", "too_few_cycles"}),
        ("beyond_the_gauge", {"gauge_clipped"}),
    ],
)
def test_mishap_is_held_for_its_reason(mishap: str, codes: set[str]) -> None:
    measured = _measured(MISHAPS[mishap].planned.name)
    assert measured.holds
    assert codes & {finding.code for finding in measured.findings if finding.severity == "hold"}


def test_notes_are_refused() -> None:
    with pytest.raises(ReadError):
        measure(MISHAPS["notes_saved_as_csv"].data)


def test_leaky_rig_is_measured_and_noted() -> None:
    measured = _measured(MISHAPS["leaky_rig"].planned.name)
    assert not measured.holds
    assert {"leak", "peak_drifts"} & {finding.code for finding in measured.findings}


def test_loss_events_are_counted() -> None:
    """Summed over the recordings, losses found agree with losses driven within a tenth."""
    driven = found = 0.0
    for recording in SOUND:
        assert recording.truth is not None
        losses = _measured(recording.planned.name).metrics["loss_rate"].value
        cycles = recording.truth.cycle_rate / 60.0 * (40.0 - recording.planned.clinic.lead_s)
        driven += recording.truth.losses
        found += losses / 100.0 * cycles
    assert driven >= 10
    assert found == pytest.approx(driven, rel=0.1)


def test_gauge_that_reads_off_shows() -> None:
    off = [r for r in SOUND if r.planned.gauge == "QW-2"]
    assert off
    for recording in off:
        assert recording.truth is not None
        ratio = _measured(recording.planned.name).metrics["peak_vacuum"].value / recording.truth.peak_vacuum
        assert ratio == pytest.approx(1.08, abs=0.01)
