"""Who records what: every unit's sweep at home, units sent round all clinics, swapped parts, and mishaps."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache

import numpy as np

from seed_demo.scenario.community import Clinic, community
from seed_demo.scenario.mishaps import mishaps
from seed_demo.scenario.pumps import Setting
from seed_demo.scenario.runs import PlannedRun
from seed_demo.scenario.units import Unit, seed_of, units

FIRST_DAY = datetime(2025, 3, 17, 9, 0, tzinfo=UTC)
ROUND_SETTING = ("expression", 3)
SWAP_SETTINGS = (("expression", 2), ("expression", 3), ("expression", 4))


@dataclass
class _Diary:
    """Deals out days: one sitting a clinic and day, two minutes a recording."""

    sittings: dict[str, int] = field(default_factory=dict)

    def sitting(self, clinic: Clinic) -> datetime:
        self.sittings[clinic.code] = self.sittings.get(clinic.code, 0) + 1
        return FIRST_DAY + timedelta(days=3 * self.sittings[clinic.code] + len(clinic.code) % 3)


@cache
def planned_runs() -> tuple[PlannedRun, ...]:
    """Every recording of the community, always the same."""
    diary = _Diary()
    sound = [*_sweeps(diary), *_round_robin(diary), *_swaps(diary)]
    return (*sound, *mishaps(sound))


def _sweeps(diary: _Diary) -> Iterator[PlannedRun]:
    """Each unit at home: every setting as often as it is repeated, and every other unit the rare ones."""
    for index, unit in enumerate(units()):
        settings = [s for s in unit.pump.settings for _ in range(s.repeats or (index % 2))]
        yield from _record(diary, unit, community().clinic(unit.clinic), unit.gauge, settings)


def _round_robin(diary: _Diary) -> Iterator[PlannedRun]:
    """The first unit of each model goes round; every gauge that reaches the setting measures it twice."""
    for name in dict.fromkeys(unit.pump_model for unit in units()):
        unit = next(u for u in units() if u.pump_model == name)
        for clinic in community().clinics:
            for gauge in sorted({u.gauge for u in units() if u.clinic == clinic.code} - {unit.gauge}):
                setting = unit.pump.setting(*ROUND_SETTING)
                yield from _record(diary, unit, clinic, gauge, [setting, setting])


def _swaps(diary: _Diary) -> Iterator[PlannedRun]:
    """Two units of either build of a changed protector, each with the other build's protector."""
    for pump in {unit.pump.name: unit.pump for unit in units()}.values():
        protectors = list(dict.fromkeys(build.protector for build in pump.builds))
        if len(protectors) != 2:
            continue
        for build in pump.builds:
            other = next(p for p in protectors if p != build.protector)
            settings = [pump.setting(*key) for key in SWAP_SETTINGS]
            for unit in _swapped(pump.name, build.revision):
                clinic = community().clinic(unit.clinic)
                yield from _record(diary, unit, clinic, unit.gauge, settings, protector=other)


def _swapped(pump_model: str, revision: str) -> list[Unit]:
    """Three units of a build that were looked at: a swap means knowing what one has in hand."""
    alike = [u for u in units() if (u.pump_model, u.revision) == (pump_model, revision) and u.seen]
    return alike[:3]


def _record(
    diary: _Diary,
    unit: Unit,
    clinic: Clinic,
    gauge: str,
    settings: list[Setting],
    protector: str | None = None,
) -> Iterator[PlannedRun]:
    """One sitting with one unit."""
    start = diary.sitting(clinic)
    for index, setting in enumerate(settings):
        at = start + timedelta(minutes=2 * index)
        yield PlannedRun(
            name=f"{unit.serial}_{gauge}_{at:%m%d}_{index + 1}_{setting.mode[:4]}{setting.level}",
            unit=unit,
            clinic=clinic,
            gauge=gauge,
            setting=setting,
            protector=protector or unit.build.protector,
            revision=unit.revision if unit.seen else "",
            recorded_at=at,
            charge=_charge(unit, start, index),
        )


def _charge(unit: Unit, start: datetime, index: int) -> float | None:
    """A battery pump comes charged to somewhere between 75 and 100 % and loses 1 % a run."""
    if unit.pump.power != "battery":
        return None
    rng = np.random.default_rng(seed_of("charge", unit.serial, start.isoformat()))
    return float(math.floor(75.0 + 25.0 * rng.random()) - index)
