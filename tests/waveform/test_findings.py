"""Each finding is raised by what it is about, holds where it should, and is in the closed list."""

from dataclasses import replace

import numpy as np
import pytest

from registry.waveform import Declared, GaugeSpec, measure
from registry.waveform.findings import CATALOGUE, finding, holds

from .files import simple
from .truth import Bench, Pump, record

GAUGE = GaugeSpec(-20, 400, 0.1, accuracy_mmhg=0.5)
PUMP = Pump()
ZEROED = Declared(zero_offset_mmhg=0.0)
BENCH = Bench(seconds=40, start_phase=0.7)


def made(pump=PUMP, bench=BENCH, seed=3):
    trace = record(pump, bench, np.random.default_rng(seed))
    return trace.seconds - trace.seconds[0], trace.vacuum


def measured(seconds, vacuum, gauge=GAUGE, declared=ZEROED, decimals=2):
    return measure(simple(seconds, vacuum, decimals), gauge=gauge, declared=declared)


def codes(result):
    return {item.code for item in result.findings}


def test_a_sound_trace_has_no_findings():
    result = measured(*made())
    assert result.findings == ()
    assert not result.holds


def test_entries_say_what_to_do():
    for code, entry in CATALOGUE.items():
        assert code.isidentifier()
        assert entry.severity in {"note", "caution", "hold"}
        assert entry.message.endswith(".")
        assert entry.hint.endswith(".")
    with pytest.raises(KeyError):
        finding("unheard_of")
    assert holds((finding("gauge_clipped", share=0.1),))
    assert not holds((finding("zero_unknown"),))


def test_a_gauge_at_its_end_is_clipped():
    seconds, vacuum = made()
    result = measured(seconds, np.minimum(vacuum, 180.0), gauge=replace(GAUGE, range_high_mmhg=180.0))
    assert "gauge_clipped" in codes(result)
    assert result.holds


def test_an_undeclared_gauge_that_cuts_the_top_shows_by_its_stillness():
    seconds, vacuum = made(bench=replace(BENCH, noise=0.8))
    result = measured(seconds, np.minimum(vacuum, 180.0), gauge=None)
    assert "gauge_clipped" in codes(result)
    assert "gauge_clipped" not in codes(measured(seconds, vacuum, gauge=None))


def test_over_range_words_count_as_clipped():
    seconds, vacuum = made()
    text = simple(seconds, vacuum).decode()
    lines = [
        line if float(line.split(",")[1]) < 200 else line.split(",")[0] + ",OL"
        for line in text.split("\n")[1:-1]
    ]
    result = measure("\n".join(["Time (s),Vacuum (mmHg)", *lines]).encode(), gauge=GAUGE, declared=ZEROED)
    assert {"gauge_clipped", "over_range_samples"} <= codes(result)
    assert result.metrics["peak_vacuum"].value < 201


def test_open_air_at_either_end_gives_the_zero():
    seconds, vacuum = made()
    step = seconds[1]
    air = 4.0 + 0.1 * np.random.default_rng(1).standard_normal(400)
    for joined in (np.concatenate([air, vacuum + 4.0]), np.concatenate([vacuum + 4.0, air])):
        result = measured(np.arange(joined.size) * step, joined, declared=Declared())
        assert result.understood.zero_basis == "open air in the trace"
        assert result.understood.zero_mmhg == pytest.approx(4.0, abs=0.05)
        assert result.metrics["peak_vacuum"].value == pytest.approx(220, abs=0.3)
        assert result.metrics["loss_rate"].value == 0
        assert "zero_unknown" not in codes(result)


def test_a_zero_far_off_is_noted():
    seconds, vacuum = made()
    result = measured(seconds, vacuum + 25, declared=Declared(zero_offset_mmhg=25.0))
    assert "zero_far_off" in codes(result)
    assert result.metrics["residual_vacuum"].value == pytest.approx(20, abs=0.3)


def test_the_declared_zero_has_the_sign_the_gauge_shows():
    seconds, vacuum = made()
    shown = -(vacuum) + 3.0
    data = simple(seconds, shown, 2).replace(b"Vacuum", b"Pressure")
    result = measure(data, gauge=GAUGE, declared=Declared(zero_offset_mmhg=3.0))
    assert result.metrics["peak_vacuum"].value == pytest.approx(220, abs=0.3)


def test_absolute_pressure_needs_the_room():
    seconds, vacuum = made()
    shown = 745.0 - vacuum
    data = simple(seconds, shown, 2).replace(b"Vacuum", b"Pressure")
    wide = replace(GAUGE, range_low_mmhg=-900, range_high_mmhg=900)
    assert "ambient_unknown" in codes(measure(data, gauge=wide))
    known = measure(data, gauge=wide, declared=Declared(zero_offset_mmhg=745.0))
    assert known.metrics["peak_vacuum"].value == pytest.approx(220, abs=0.3)
    assert not known.holds


def test_lost_samples_are_gaps():
    seconds, vacuum = made()
    keep = np.ones(seconds.size, dtype=bool)
    keep[1000:1060] = False
    result = measured(seconds[keep], vacuum[keep])
    assert "gaps" in codes(result)
    assert result.metrics["cycle_rate"].value == pytest.approx(60, rel=1e-3)
    assert result.metrics["loss_rate"].value == 0
    keep[1500:2700] = False
    assert measured(seconds[keep], vacuum[keep]).holds


def test_lone_spikes_are_left_out():
    seconds, vacuum = made()
    spiked = vacuum.copy()
    spiked[[500, 1700, 2900]] = 390.0
    result = measured(seconds, spiked)
    assert "spikes" in codes(result)
    assert result.metrics["peak_vacuum"].value == pytest.approx(220, abs=0.3)


def test_noise_alone_is_no_pump():
    seconds = np.arange(3000) / 50
    result = measured(seconds, 30 + 20 * np.random.default_rng(2).standard_normal(3000))
    assert result.holds
    assert codes(result) & {"not_a_pump", "weak_signal", "too_few_cycles"}


def test_a_flat_trace_is_a_weak_signal():
    seconds = np.arange(3000) / 50
    result = measured(seconds, np.full(3000, 5.0))
    assert codes(result) == {"weak_signal"}
    assert result.metrics == {}


def test_few_cycles_are_cautioned_and_too_few_held():
    seconds, vacuum = made()
    assert "few_cycles" in codes(measured(seconds[:650], vacuum[:650]))
    short = measured(seconds[:280], vacuum[:280])
    assert short.holds


def test_slow_sampling_is_cautioned_and_too_slow_held():
    quick = Pump(pull=0.15, hold=0.15, release=0.1, rest=0.15)
    assert "sampled_coarsely" in codes(measured(*made(quick, replace(BENCH, rate_hz=19.3))))
    assert measured(*made(quick, replace(BENCH, rate_hz=8.3))).holds


def test_noise_and_resolution_are_judged_against_the_swing():
    gentle = Pump(low=10, high=50)
    assert "noise_high" in codes(measured(*made(gentle, replace(BENCH, noise=3.0))))
    assert "resolution_coarse" in codes(measured(*made(gentle, replace(BENCH, resolution=2.0)), decimals=0))


def test_two_settings_in_one_trace_are_held():
    seconds, weak = made(Pump(high=150))
    _, strong = made(Pump(high=230))
    joined = np.concatenate([weak, strong])
    result = measured(np.arange(joined.size) * seconds[1], joined)
    assert "two_settings" in codes(result)
    assert result.holds
    _, slow = made(Pump(rest=0.6))
    joined = np.concatenate([strong, slow])
    assert "two_settings" in codes(measured(np.arange(joined.size) * seconds[1], joined))


def test_a_drift_is_no_second_setting():
    for drift, code in ((45.0, "peak_drifts"), (-45.0, "battery_falling")):
        result = measured(*made(Pump(drift_per_min=drift)))
        assert codes(result) == {code}
        assert result.metrics["peak_drift"].value == pytest.approx(drift, abs=1.0)


def test_a_rising_residual_is_a_leak():
    seconds, vacuum = made()
    result = measured(seconds, vacuum + seconds * 0.5)
    assert "leak" in codes(result)


def test_lost_cycles_are_cautioned_with_the_time_of_the_first():
    trace = record(Pump(loss_share=0.1), BENCH, np.random.default_rng(4))
    result = measured(trace.seconds, trace.vacuum)
    lost = next(item for item in result.findings if item.code == "losses")
    assert lost.at_s == pytest.approx(trace.losses[0][0], abs=0.3)
    assert result.metrics["loss_rate"].value == pytest.approx(100 * len(trace.losses) / 39, abs=1.5)


def test_a_pause_is_held_and_its_cycles_are_missing():
    seconds, vacuum = made()
    still = np.where((seconds > 15.1) & (seconds < 23.1), 20.0, vacuum)
    result = measured(seconds, still)
    assert "paused" in codes(result)
    assert result.cycles.loss.count("missing") in {7, 8}
    assert result.metrics["cycle_rate"].value == pytest.approx(60, rel=1e-3)


def test_stimulation_before_expression_is_two_settings():
    at = np.arange(6000) / 100
    quick = 5 + 110 * np.interp(np.mod(at, 0.5) / 0.5, [0, 0.2, 0.5, 0.6, 1], [0, 1, 1, 0, 0])
    slow = 15 + 220 * np.interp(np.mod(at, 1.0), [0, 0.2, 0.5, 0.6, 1], [0, 1, 1, 0, 0])
    vacuum = np.where(at < 30, quick, slow) + 0.3 * np.random.default_rng(1).standard_normal(at.size)
    assert "two_settings" in codes(measured(at, vacuum))


def test_a_pump_that_builds_up_loses_nothing_and_settles():
    at = np.arange(6000) / 100
    build = 1 - np.exp(-(np.floor(at) + 1) / 3)
    vacuum = 20 + 200 * build * np.interp(np.mod(at, 1.0), [0, 0.2, 0.5, 0.6, 1], [0, 1, 1, 0, 0])
    result = measured(at, vacuum + 0.3 * np.random.default_rng(1).standard_normal(at.size))
    assert result.metrics["loss_rate"].value == 0
    assert 4 < result.metrics["settling_time"].value < 10
    assert "two_settings" not in codes(result)


def test_irregular_cycles_are_cautioned():
    assert "irregular" in codes(measured(*made(Pump(period_spread=0.12, rest=0.6))))


def test_a_double_pulse_is_one_cycle():
    at = np.arange(4000) / 100
    phase = np.mod(at, 1.2)
    shape = np.interp(phase, [0, 0.1, 0.25, 0.33, 0.4, 0.5, 0.6, 0.7, 1.2], [0, 1, 1, 0, 0, 0.8, 0.8, 0, 0])
    result = measured(at, 10 + 150 * shape + 0.3 * np.random.default_rng(3).standard_normal(at.size))
    assert result.metrics["cycle_rate"].value == pytest.approx(50, rel=2e-3)
    assert "double_pulse" in codes(result)


def test_a_disagreeing_rate_is_cautioned():
    seconds, vacuum = made()
    data = b"Rate: 50 Hz\n" + simple(seconds, vacuum)
    assert "rate_disagrees" in codes(measure(data, declared=Declared(zero_offset_mmhg=0.0)))
