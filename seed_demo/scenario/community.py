"""The clinics, their benches and gauges, read from community.toml."""

import tomllib
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from seed_demo.simulator.air import ambient_mmhg
from seed_demo.simulator.dialects import Dialect
from seed_demo.simulator.gauge import LoggingGauge

HERE = Path(__file__).parent


@dataclass(frozen=True)
class DeclaredGauge:
    """What a clinic tells the registry of a gauge, in the gauge's own unit."""

    unit: str
    range: tuple[float, float]
    resolution: float
    accuracy: str
    calibrations: tuple[dict[str, str | float], ...]


@dataclass(frozen=True)
class Gauge:
    """One gauge: its code in the clinic, its model, how it writes, what was declared and what it does."""

    code: str
    model: str
    dialect: str
    declared: DeclaredGauge
    truth: LoggingGauge


@dataclass(frozen=True)
class Clinic:
    """A clinic with its bench."""

    code: str
    elevation_m: float
    operator: str
    curator: str | None
    lead_s: float
    gauges: tuple[Gauge, ...]

    @property
    def ambient_mmhg(self) -> float:
        """Pressure of the room, by the standard atmosphere."""
        return ambient_mmhg(self.elevation_m)

    def gauge(self, code: str) -> Gauge:
        """The gauge of that code; KeyError when the clinic has none."""
        return {gauge.code: gauge for gauge in self.gauges}[code]


@dataclass(frozen=True)
class Community:
    """All clinics, the gauges' dialects, the rig they agreed on, the length of a recording and the seed."""

    seed: int
    run_s: float
    rig: dict[str, str | float]
    clinics: tuple[Clinic, ...]
    dialects: dict[str, Dialect]

    def clinic(self, code: str) -> Clinic:
        """The clinic of that code."""
        return {clinic.code: clinic for clinic in self.clinics}[code]


@cache
def community() -> Community:
    """Read community.toml."""
    told = tomllib.loads((HERE / "community.toml").read_text())
    return Community(
        seed=told["seed"],
        run_s=told["run_s"],
        rig=told["rig"],
        clinics=tuple(_clinic(row) for row in told["clinic"]),
        dialects={name: Dialect(**_tuples(row)) for name, row in told["dialect"].items()},
    )


def _clinic(row: dict[str, Any]) -> Clinic:
    gauges = tuple(_gauge(gauge) for gauge in row["gauge"])
    return Clinic(row["code"], row["elevation_m"], row["operator"], row.get("curator"), row["lead_s"], gauges)


def _gauge(row: dict[str, Any]) -> Gauge:
    said = row["as_declared"]
    calibrations = tuple(_plain(calibration) for calibration in row.get("calibration", []))
    declared = DeclaredGauge(
        said["unit"], tuple(said["range"]), said["resolution"], said["accuracy"], calibrations
    )
    truth = LoggingGauge(
        unit=declared.unit, range_high=declared.range[1], resolution=declared.resolution, **row["truth"]
    )
    return Gauge(row["code"], row["model"], row["dialect"], declared, truth)


def _plain(calibration: dict[str, Any]) -> dict[str, str | float]:
    return {k: v.isoformat() if isinstance(v, date) else v for k, v in calibration.items()}


def _tuples(row: dict[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}
