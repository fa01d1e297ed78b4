"""The pneumatic model against what physics says in closed form, and against an independent integrator."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from seed_demo.simulator.pneumatics import Drive, Pneumatics, slopes, step
from tests.seed_demo.benches import PLAIN

SHUT = 1e12  # a resistance that lets nothing through


def _one(**constants: float) -> Pneumatics:
    return Pneumatics.stack([PLAIN | constants])


def _drive(speed: float = 0.0, valve: float = 0.0, mobility: float = 1.0) -> Drive:
    return Drive(*(np.array([value]) for value in (speed, valve, mobility)))


def _run(p: Pneumatics, drive: Drive, seconds: float, start: tuple[float, float, float]) -> np.ndarray:
    state = np.array(start)[:, None]
    states = [state]
    for _ in range(round(seconds / 0.002)):
        state = step(state, p, drive, 0.002)
        states.append(state)
    return np.array(states)[:, :, 0]


def test_constant_speed_pump_draws_one_volume_down_exponentially() -> None:
    """v = P_a / (1 + c) (1 - exp(-(1 + c) D t / V)) with the membrane stuck to its seat and all else shut."""
    p = _one(leak_resistance=SHUT, regulator_set=1e9)
    vacuum = _run(p, _drive(speed=1.0, mobility=0.0), 1.0, (0.0, 0.0, 0.0))[:, 0]
    t = np.arange(vacuum.size) * 0.002
    expected = 760.0 / 2.3 * (1.0 - np.exp(-2.3 * 110.0 * t / 34.0))
    assert vacuum == pytest.approx(expected, abs=1e-3)


def test_release_through_a_laminar_valve_decays_exponentially() -> None:
    """v = v_open + (v_0 - v_open) exp(-P_a t / (R V)) for isothermal air."""
    p = _one(leak_resistance=SHUT, regulator_set=1e9)
    vacuum = _run(p, _drive(valve=1.0, mobility=0.0), 0.1, (200.0, 0.0, 0.0))[:, 0]
    t = np.arange(vacuum.size) * 0.002
    expected = 20.0 + 180.0 * np.exp(-760.0 * t / (0.12 * 34.0))
    assert vacuum == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("exponent", [1.0, 1.4])
def test_enclosed_air_keeps_its_pressure_times_volume_to_the_exponent(exponent: float) -> None:
    """Whatever the membrane does, P (V_l + x)^n of a tight load side stays what it was."""
    p = _one(exponent=exponent, rig_leak_resistance=SHUT)
    states = _run(p, _drive(speed=0.6), 1.0, (0.0, 0.0, 0.0))
    kept = (760.0 - states[:, 1]) * (26.0 + states[:, 2]) ** exponent
    assert states[-1, 2] > 5.0
    assert kept == pytest.approx(760.0 * 26.0**exponent, rel=2e-4)


@pytest.mark.parametrize(("speed", "valve"), [(1.0, 0.0), (0.0, 1.0), (0.4, 0.3)])
def test_coupled_volumes_agree_with_scipy(speed: float, valve: float) -> None:
    """The two volumes and the membrane against scipy.integrate.solve_ivp (LSODA) at a tight tolerance."""
    p = _one(exponent=1.1)
    drive = _drive(speed, valve)
    start = (120.0, 110.0, 4.0)
    ours = _run(p, drive, 0.3, start)
    times = np.arange(ours.shape[0]) * 0.002
    theirs = solve_ivp(
        lambda _, y: slopes(y[:, None], p, drive)[:, 0],
        (0.0, 0.3),
        start,
        method="LSODA",
        t_eval=times,
        rtol=1e-9,
        atol=1e-9,
        max_step=0.001,
    )
    assert ours == pytest.approx(theirs.y.T, abs=0.3)


def test_flow_falls_with_vacuum_to_nothing_at_the_ultimate_vacuum() -> None:
    p = _one(leak_resistance=SHUT, regulator_set=1e9)
    drive = _drive(speed=1.0, mobility=0.0)
    rates = [slopes(np.array([[v], [0.0], [0.0]]), p, drive)[0, 0] for v in (0.0, 100.0, 200.0, 760.0 / 2.3)]
    assert rates[0] > rates[1] > rates[2] > rates[3]
    assert rates[3] == pytest.approx(0.0, abs=1e-6)


def test_stuck_membrane_keeps_vacuum_from_the_load() -> None:
    free, stuck = (_run(_one(), _drive(1.0, 0.0, m), 0.36, (0.0, 0.0, 0.0))[-1] for m in (1.0, 0.002))
    assert free[1] > 150.0
    assert stuck[1] < 0.2 * free[1]


def test_membrane_stays_between_seat_and_wall() -> None:
    pulled = _run(_one(membrane_travel=3.0), _drive(speed=1.0), 0.5, (0.0, 0.0, 0.0))[:, 2]
    pushed = _run(_one(), _drive(valve=1.0), 0.5, (0.0, 150.0, 0.1))[:, 2]
    assert pulled.max() == 3.0
    assert pushed.min() >= 0.0
