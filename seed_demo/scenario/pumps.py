"""The pump models as they are really built, read from pumps.toml."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from seed_demo.simulator.controller import Timing

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Setting:
    """One setting: controller timing at full speed, regulator and release valve (mmHg), runs per unit."""

    mode: str
    level: int
    timing: Timing
    vacuum: float
    residual: float
    repeats: int


@dataclass(frozen=True)
class Lot:
    """Units that clinics got hold of together; `serial` gives each field a value or what to draw it from."""

    firmware: str
    units: int
    seen: float
    serial: dict[str, Any]


@dataclass(frozen=True)
class Build:
    """One physical build of a pump model; `vacuum_shift` is a share of every setting's vacuum."""

    revision: str
    protector: str
    speed: float
    vacuum_shift: float
    serials: tuple[tuple[str, str], ...]
    lots: tuple[Lot, ...]


@dataclass(frozen=True)
class PumpTruth:
    """A pump model: form of its serials, physics shared by its builds, protectors, settings, builds."""

    name: str
    serial: str
    timed_by_motor: bool
    power: str
    physics: dict[str, float]
    protectors: dict[str, dict[str, float]]
    settings: tuple[Setting, ...]
    builds: tuple[Build, ...]

    def build(self, revision: str) -> Build:
        """The build of that revision."""
        return {build.revision: build for build in self.builds}[revision]

    def setting(self, mode: str, level: int) -> Setting:
        """The setting of that mode and level."""
        return {(s.mode, s.level): s for s in self.settings}[mode, level]


@cache
def pump_truths() -> dict[str, PumpTruth]:
    """Read pumps.toml; by name."""
    told = tomllib.loads((HERE / "pumps.toml").read_text())
    return {row["name"]: _pump(row, told["defaults"]) for row in told["pump_model"]}


def _pump(row: dict[str, Any], defaults: dict[str, float]) -> PumpTruth:
    return PumpTruth(
        name=row["name"],
        serial=row["serial"],
        timed_by_motor=row["timed_by_motor"],
        power=row["power"],
        physics=defaults | row["physics"],
        protectors=row["protectors"],
        settings=tuple(Setting(**(s | {"timing": Timing(**s["timing"])})) for s in row["setting"]),
        builds=tuple(_build(build) for build in row["build"]),
    )


def _build(row: dict[str, Any]) -> Build:
    return Build(
        revision=row["revision"],
        protector=row["protector"],
        speed=row["speed"],
        vacuum_shift=row["vacuum_shift"],
        serials=tuple((first, last) for first, last in row["serials"]),
        lots=tuple(Lot(**lot) for lot in row["lot"]),
    )
