"""The air between motor and breast shield: two volumes and the membrane that parts them.

States, one column per simulated run:

    v_p   vacuum on the pump side (tubing and protector), mmHg
    v_l   vacuum on the load side (shield and load volume), where the gauge sits, mmHg
    x     volume the membrane has moved towards the pump, mL

With P = P_a - v the absolute pressures and n the polytropic exponent (1 isothermal, 1.4 adiabatic):

    pump     a piston of clearance ratio c moves D mL/s at full speed. Air left in the clearance re-expands
             isothermally, so the volume drawn at inlet pressure P is D (1 + c - c P_a / P) and the flow
             falls with vacuum, to nothing at P_a / (1 + c). In pressure times volume: D (P_a - (1 + c) v_p).
    valves   release valve, regulator (a spring bleed that opens above its set vacuum) and leaks are laminar:
             air enters at P_a (v - v_open) / R.
    membrane x' = (v_p - v_l - k x) / d, with stiffness k and damping d; it seats at x = 0 and is stopped
             at the wall of its chamber.
    outlet   the duckbill below the load lets air out only, when the load side is above ambient.

    v_p' = n / (V_p - x) (drawn - valve - regulator - leak - P_p x')
    v_l' = n / (V_l + x) (P_l x' - leak + outlet)

For one volume with a seated membrane, n = 1 and the valves shut this is
v = P_a / (1 + c) (1 - exp(-(1 + c) D t / V)).
"""

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Pneumatics:
    """Constants of the equations, each an array with one value per run."""

    ambient: Array
    """P_a, mmHg"""
    displacement: Array
    """D, mL/s at full speed"""
    clearance: Array
    """c, 1"""
    pump_volume: Array
    """V_p with the membrane seated, mL"""
    load_volume: Array
    """V_l with the membrane seated, mL"""
    valve_resistance: Array
    """of the release valve, mmHg s/mL of ambient air"""
    valve_opening: Array
    """vacuum at which the release valve shuts again, mmHg"""
    regulator_set: Array
    """vacuum at which the bleed starts to open, mmHg"""
    regulator_resistance: Array
    """mmHg s/mL"""
    leak_resistance: Array
    """of tubing and joints on the pump side, mmHg s/mL"""
    rig_leak_resistance: Array
    """of the rig on the load side, mmHg s/mL; air that enters here stays until the membrane rests"""
    outlet_resistance: Array
    """of the duckbill, mmHg s/mL"""
    membrane_stiffness: Array
    """k, mmHg/mL"""
    membrane_damping: Array
    """d, mmHg s/mL"""
    membrane_travel: Array
    """x at the wall, mL"""
    exponent: Array
    """n, 1 to 1.4"""

    @classmethod
    def stack(cls, rows: list[dict[str, float]]) -> "Pneumatics":
        """Put single runs side by side; each row names every constant."""
        return cls(**{f.name: np.array([row[f.name] for row in rows], dtype=float) for f in fields(cls)})


@dataclass(frozen=True)
class Drive:
    """What the controller does during one step, each an array with one value per run."""

    speed: Array
    """share of full motor speed, 0 when the motor rests"""
    valve: Array
    """share of the step for which the release valve is open"""
    mobility: Array
    """1 for a free membrane, near 0 for one that sticks"""


def slopes(state: Array, p: Pneumatics, drive: Drive) -> Array:
    """Time derivatives of the states.

    Args: `state` of shape (3, runs): v_p and v_l in mmHg, x in mL. Returns the same shape per second.
    """
    pump, load, moved = state
    drawn = drive.speed * p.displacement * np.maximum(0.0, p.ambient - (1.0 + p.clearance) * pump)
    valve = drive.valve * np.maximum(0.0, pump - p.valve_opening) / p.valve_resistance
    bleed = np.maximum(0.0, pump - p.regulator_set) / p.regulator_resistance
    leak = pump / p.leak_resistance
    rate = drive.mobility * (pump - load - p.membrane_stiffness * moved) / p.membrane_damping
    rate = np.where((moved <= 0.0) & (rate < 0.0), 0.0, rate)
    rate = np.where((moved >= p.membrane_travel) & (rate > 0.0), 0.0, rate)
    outlet = np.maximum(0.0, -load) / p.outlet_resistance
    d_pump = drawn - p.ambient * (valve + bleed + leak) - (p.ambient - pump) * rate
    d_load = (p.ambient - load) * rate + p.ambient * (outlet - load / p.rig_leak_resistance)
    return np.stack(
        (p.exponent * d_pump / (p.pump_volume - moved), p.exponent * d_load / (p.load_volume + moved), rate)
    )


def step(state: Array, p: Pneumatics, drive: Drive, dt: float) -> Array:
    """One classical Runge-Kutta step of `dt` seconds; the membrane stays between seat and wall."""
    k1 = slopes(state, p, drive)
    k2 = slopes(state + 0.5 * dt * k1, p, drive)
    k3 = slopes(state + 0.5 * dt * k2, p, drive)
    k4 = slopes(state + dt * k3, p, drive)
    after = state + dt / 6.0 * (k1 + 2.0 * (k2 + k3) + k4)
    after[2] = np.clip(after[2], 0.0, p.membrane_travel)
    return after
