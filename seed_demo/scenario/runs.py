"""One recording of the plan, and what is said of it when it is uploaded."""

from dataclasses import dataclass
from datetime import datetime

from seed_demo.scenario.community import Clinic, community
from seed_demo.scenario.pumps import Setting
from seed_demo.scenario.units import Unit
from seed_demo.simulator.air import MMHG_PER_UNIT, ambient_kpa


@dataclass(frozen=True)
class PlannedRun:
    """One recording to be made.

    `name` is unique. `expected` is what the registry should make of it: accepted, held or refused.
    `mishap` names what goes wrong, empty when nothing does. `charge` is the battery's in per cent.
    """

    name: str
    unit: Unit
    clinic: Clinic
    gauge: str
    setting: Setting
    protector: str
    revision: str
    recorded_at: datetime
    charge: float | None
    mishap: str = ""
    expected: str = "accepted"
    note: str = ""

    def provenance(self) -> dict[str, str | float | int]:
        """What the clinic says of the run; keys as the registry knows them."""
        said: dict[str, str | float | int] = {
            "pump_model": self.unit.pump_model,
            "serial": self.unit.serial,
            "revision": self.revision,
            "firmware": self.unit.firmware if self.unit.seen else "",
            "mode": self.setting.mode,
            "level": self.setting.level,
            "side": "single",
            "protector": self.protector,
            "gauge": self.gauge,
            "operator": self.clinic.operator,
            "recorded_at": self.recorded_at.isoformat(),
            "power": "mains" if self.charge is None else f"battery {self.charge:.0f}",
            "note": self.note,
        }
        said |= community().rig | self._room() | self._zero()
        return {key: value for key, value in said.items() if value != ""}

    def _room(self) -> dict[str, float]:
        if self.clinic.elevation_m > 1500:  # this clinic reads a barometer instead of a map
            return {"ambient_kpa": round(ambient_kpa(self.clinic.elevation_m), 1)}
        return {"elevation_m": self.clinic.elevation_m}

    def _zero(self) -> dict[str, float]:
        if self.clinic.lead_s > 0:
            return {}
        truth = self.clinic.gauge(self.gauge).truth
        return {"zero_offset": round(truth.zero * MMHG_PER_UNIT[truth.unit], 2)}
