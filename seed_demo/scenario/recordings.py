"""Make every planned recording: simulate all of them at once, log them with their gauges, write the files."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seed_demo.scenario.community import Community, Gauge, community
from seed_demo.scenario.mishaps import SHORT_S
from seed_demo.scenario.runs import PlannedRun
from seed_demo.scenario.units import seed_of
from seed_demo.simulator.bench import PumpOnBench, TrueWaveform, simulate
from seed_demo.simulator.controller import Habits
from seed_demo.simulator.dialects import write
from seed_demo.simulator.gauge import log

BATTERY_SPEED_LOSS = 0.06
"""share of speed lost from a full to an empty battery"""
SAG_PER_MIN = 0.004
PERIOD_SCATTER = 0.004
FLOW_SCATTER = 0.006
RUN_VACUUM_SPREAD_MMHG = 1.2
"""standard deviation by which the regulator settles differently from run to run"""
LEAK_OF_A_LEAKY_RIG = 300.0
"""mmHg s/mL; the air that enters pushes the membrane to its wall before the recording ends"""


@dataclass(frozen=True)
class Truth:
    """What the simulator knows of a recording: revision, rate (1/min), levels (mmHg), loss events."""

    revision: str
    cycle_rate: float
    peak_vacuum: float
    residual_vacuum: float
    losses: int


@dataclass(frozen=True)
class Recording:
    """A planned run with the bytes of its file; `truth` is None when the pump did not run long enough."""

    planned: PlannedRun
    data: bytes
    truth: Truth | None

    @property
    def file_name(self) -> str:
        """Name of the file it is saved in."""
        return f"{self.planned.name}.csv"


def make_recordings(planned: Sequence[PlannedRun]) -> list[Recording]:
    """Simulate and write the planned runs; the same plan gives the same bytes, alone or among others."""
    waveforms = simulate([on_bench(run) for run in planned])
    return [_recording(run, waveform) for run, waveform in zip(planned, waveforms, strict=True)]


def on_bench(run: PlannedRun) -> PumpOnBench:
    """The planned run as the simulator takes it."""
    duration = SHORT_S + run.clinic.lead_s if run.mishap.startswith("stopped") else community().run_s
    lead = duration + 1.0 if run.mishap == "pump_not_switched_on" else run.clinic.lead_s
    seed = seed_of("run", run.name)
    return PumpOnBench(_constants(run, seed), run.setting.timing, _habits(run), duration, lead, seed)


def _constants(run: PlannedRun, seed: tuple[int, ...]) -> dict[str, float]:
    """The pneumatic constants of this unit with this protector on this rig in this room."""
    unit, rig = run.unit, community().rig
    constants = dict(unit.pump.physics)
    protector = unit.pump.protectors[run.protector]
    settled = RUN_VACUUM_SPREAD_MMHG * np.random.default_rng((*seed, 1)).standard_normal()
    shift = 1.0 + unit.build.vacuum_shift
    constants |= {
        "ambient": run.clinic.ambient_mmhg,
        "load_volume": constants.pop("shield_volume") + float(rig["load_ml"]),
        "regulator_set": run.setting.vacuum * shift + unit.vacuum_offset + settled,
        "valve_opening": run.setting.residual,
        "membrane_stiffness": protector["membrane_stiffness"] * unit.membrane,
        "membrane_damping": protector["membrane_damping"],
    }
    if run.mishap == "leaky_rig":
        constants["rig_leak_resistance"] = LEAK_OF_A_LEAKY_RIG
    return constants


def _habits(run: PlannedRun) -> Habits:
    unit = run.unit
    protector = unit.pump.protectors[run.protector]
    missing = 0.0 if run.charge is None else 1.0 - run.charge / 100.0
    return Habits(
        speed=unit.build.speed * unit.speed * (1.0 - BATTERY_SPEED_LOSS * missing),
        timed_by_motor=unit.pump.timed_by_motor,
        sag_per_min=0.0 if run.charge is None else SAG_PER_MIN * (1.0 + missing),
        period_scatter=PERIOD_SCATTER,
        flow_scatter=FLOW_SCATTER,
        stuck_share=protector["stuck_share"],
        collapsed_share=protector["collapsed_share"],
    )


def _recording(run: PlannedRun, waveform: TrueWaveform) -> Recording:
    if run.mishap == "notes_saved_as_csv":
        return Recording(run, _notes(run), None)
    told: Community = community()
    gauge = _gauge(run)
    reading = log(gauge.truth, waveform, np.random.default_rng((*seed_of("run", run.name), 2)))
    dialect = told.dialects[gauge.dialect]
    data = write(dialect, reading, gauge.declared.resolution, run.recorded_at, gauge.code)
    return Recording(run, data, _truth(run, waveform))


def _gauge(run: PlannedRun) -> Gauge:
    """The gauge in use; a borrowed one is like the clinic's first."""
    known = {gauge.code: gauge for gauge in run.clinic.gauges}
    return known.get(run.gauge, run.clinic.gauges[0])


def _truth(run: PlannedRun, waveform: TrueWaveform) -> Truth | None:
    if waveform.whole_cycles().sum() < 5:
        return None
    peak, residual = waveform.levels()
    return Truth(run.unit.revision, waveform.rate(), peak, residual, waveform.losses())


def _notes(run: PlannedRun) -> bytes:
    lines = [
        f"Bench notes {run.recorded_at:%d %B %Y}",
        f"{run.unit.pump_model} {run.unit.serial}; level {run.setting.level}; hiccup heard twice.",
        "To do: new batteries for the gauge; ask for another duckbill.",
    ]
    return ("\n".join(lines) + "\n").encode()
