"""Whole runs: rate, levels, loss events, elevation, battery; and that runs do not disturb each other."""

from dataclasses import replace

import numpy as np
import pytest

from seed_demo.simulator import bench
from seed_demo.simulator.air import ambient_mmhg
from seed_demo.simulator.bench import simulate
from seed_demo.simulator.controller import BUILT, STUCK, drives, schedule
from tests.seed_demo.benches import EXPRESSION, STEADY, on_bench


def test_rate_is_that_of_the_setting() -> None:
    (steady,) = simulate([on_bench()])
    assert steady.rate() == pytest.approx(60.0 / EXPRESSION.period_s)


def test_slower_motor_slows_a_pump_timed_by_its_motor_and_no_other() -> None:
    slow = replace(STEADY, speed=0.89)
    by_motor, by_clock = simulate(
        [on_bench(habits=slow), on_bench(habits=replace(slow, timed_by_motor=False))]
    )
    assert by_motor.rate() == pytest.approx(0.89 * 60.0 / EXPRESSION.period_s)
    assert by_clock.rate() == pytest.approx(60.0 / EXPRESSION.period_s)


def test_pulses_run_between_residual_and_regulated_peak() -> None:
    (run,) = simulate([on_bench()])
    peak, residual = run.levels()
    assert 195.0 < peak < 215.0
    assert 15.0 < residual < 25.0


def test_peak_falls_with_elevation() -> None:
    heights = (0.0, 500.0, 1000.0, 1900.0)
    peaks = [r.levels()[0] for r in simulate([on_bench(ambient=ambient_mmhg(h)) for h in heights])]
    assert peaks == sorted(peaks, reverse=True)
    assert 3.0 < peaks[0] - peaks[-1] < 25.0


def test_unregulated_vacuum_is_a_fixed_share_of_ambient_pressure() -> None:
    """Every term of the isothermal model is proportional to P_a once no spring sets a vacuum of its own."""
    free = {"regulator_set": 1e9, "valve_opening": 0.0, "membrane_stiffness": 0.0}
    low, high = simulate([on_bench(ambient=a, **free) for a in (760.0, 608.0)])
    # The membrane's damping is the one term that is not; it is kept out by its smallness.
    assert high.levels()[0] / low.levels()[0] == pytest.approx(0.8, abs=0.01)


def test_stiffer_membrane_passes_on_less_vacuum() -> None:
    soft, stiff = simulate([on_bench(), on_bench(membrane_stiffness=2.5)])
    assert soft.levels()[0] - stiff.levels()[0] > 5.0


def test_loss_events_fall_where_the_schedule_puts_them() -> None:
    habits = replace(STEADY, stuck_share=0.15, collapsed_share=0.15)
    (run,) = simulate([on_bench(habits=habits, duration_s=30.0)])
    peaks = np.array(
        [
            run.vacuum[(run.t >= a) & (run.t < b)].max()
            for a, b in zip(run.cycles.start[1:-1], run.cycles.end[1:-1], strict=True)
        ]
    )
    fate = run.cycles.fate[1:-1]
    assert (fate != BUILT).sum() >= 5
    assert peaks[fate == BUILT].min() > 190.0
    assert peaks[fate != BUILT].max() < 180.0
    assert peaks[fate == STUCK].max() < 80.0


def test_sagging_battery_slows_the_later_cycles() -> None:
    (run,) = simulate([on_bench(habits=replace(STEADY, sag_per_min=0.1), duration_s=30.0)])
    periods = run.cycles.end - run.cycles.start
    assert periods[-1] / periods[0] == pytest.approx(1.05, abs=0.005)


def test_pump_rests_during_the_lead() -> None:
    (run,) = simulate([on_bench(lead_s=3.0)])
    assert run.vacuum[run.t < 2.99].max() == 0.0
    assert run.vacuum[run.t > 3.5].max() > 100.0


def test_runs_do_not_depend_on_their_neighbours() -> None:
    runs = [on_bench(), on_bench(regulator_set=150.0, duration_s=10.0), on_bench(ambient=600.0)]
    together = simulate(runs)
    alone = [simulate([run])[0] for run in runs]
    for one, other in zip(together, alone, strict=True):
        assert np.array_equal(one.vacuum, other.vacuum)
        assert np.array_equal(one.t, other.t)


def test_half_the_step_gives_the_same_levels(monkeypatch: pytest.MonkeyPatch) -> None:
    (coarse,) = simulate([on_bench()])
    monkeypatch.setattr(bench, "STEP_S", bench.STEP_S / 2.0)
    (fine,) = simulate([on_bench()])
    assert coarse.levels() == pytest.approx(fine.levels(), abs=0.2)


def test_motor_runs_for_the_pull_and_the_valve_for_the_release() -> None:
    """Shares of steps add up to the controller's times, whatever the step."""
    plan = schedule(EXPRESSION, STEADY, 0.0, 10.0, np.random.default_rng(1))
    edges = np.arange(0.0, plan.end[-1] + 0.013, 0.013)
    speed, valve, mobility = drives(plan, STEADY, edges)
    assert speed.sum() * 0.013 == pytest.approx(EXPRESSION.pull_s * plan.start.size)
    assert valve.sum() * 0.013 == pytest.approx(EXPRESSION.release_s * plan.start.size)
    assert (mobility == 1.0).all()
