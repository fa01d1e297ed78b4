"""Pumps on a bench with plain constants, for tests that vary one thing at a time."""

from seed_demo.simulator.bench import PumpOnBench
from seed_demo.simulator.controller import Habits, Timing

PLAIN = {
    "ambient": 760.0,
    "displacement": 110.0,
    "clearance": 1.3,
    "pump_volume": 34.0,
    "load_volume": 26.0,
    "valve_resistance": 0.12,
    "valve_opening": 20.0,
    "regulator_set": 200.0,
    "regulator_resistance": 0.18,
    "leak_resistance": 400.0,
    "rig_leak_resistance": 20000.0,
    "outlet_resistance": 0.3,
    "membrane_stiffness": 1.0,
    "membrane_damping": 0.25,
    "membrane_travel": 20.0,
    "exponent": 1.0,
}
STEADY = Habits(
    speed=1.0,
    timed_by_motor=True,
    sag_per_min=0.0,
    period_scatter=0.0,
    flow_scatter=0.0,
    stuck_share=0.0,
    collapsed_share=0.0,
)
EXPRESSION = Timing(pull_s=0.36, hold_s=0.16, release_s=0.33)


def on_bench(
    *,
    timing: Timing = EXPRESSION,
    habits: Habits = STEADY,
    duration_s: float = 10.0,
    lead_s: float = 0.0,
    **constants: float,
) -> PumpOnBench:
    """A run with the plain constants but for those named."""
    return PumpOnBench(PLAIN | constants, timing, habits, duration_s, lead_s, (1, 2))
