"""The physical pumps: serial, true build, home clinic, and how each differs from its build."""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from seed_demo.scenario.community import community
from seed_demo.scenario.pumps import Build, Lot, PumpTruth, pump_truths


@dataclass(frozen=True)
class Unit:
    """One pump. `seen` is true when its clinic looked at the marks and says the revision with its runs."""

    pump_model: str
    serial: str
    revision: str
    firmware: str
    clinic: str
    gauge: str
    seen: bool
    speed: float
    """motor speed relative to its build, 1 on average"""
    vacuum_offset: float
    """of its regulator, mmHg"""
    membrane: float
    """stiffness of its membrane relative to its build"""

    @property
    def pump(self) -> PumpTruth:
        """Its pump model as really built."""
        return pump_truths()[self.pump_model]

    @property
    def build(self) -> Build:
        """Its true build."""
        return self.pump.build(self.revision)


SPEED_SPREAD = 0.02
VACUUM_SPREAD_MMHG = 5.0
MEMBRANE_SPREAD = 0.05


def seed_of(*words: str) -> tuple[int, ...]:
    """The community's seed with one further number a word, for a generator of one's own."""
    return (community().seed, *(zlib.crc32(word.encode()) for word in words))


@cache
def units() -> tuple[Unit, ...]:
    """Every unit of the community, always the same, in the order of pumps.toml; homes are dealt round."""
    benches = [(clinic.code, _main_gauges(clinic.code)) for clinic in community().clinics]
    made: list[Unit] = []
    for pump in pump_truths().values():
        for build, lot, index in _members(pump):
            clinic, gauges = benches[len(made) % len(benches)]
            gauge = gauges[len(made) // len(benches) % len(gauges)]
            made.append(_unit(pump, build, lot, index, (clinic, gauge)))
    return tuple(made)


def _main_gauges(clinic: str) -> list[str]:
    """The gauges that serve every setting: those that reach 300 mmHg."""
    gauges = community().clinic(clinic).gauges
    return [gauge.code for gauge in gauges if gauge.declared.unit != "mmHg" or gauge.truth.range_high >= 300]


def _members(pump: PumpTruth) -> Iterator[tuple[Build, Lot, int]]:
    for build in pump.builds:
        for lot in build.lots:
            yield from ((build, lot, index) for index in range(lot.units))


def _unit(pump: PumpTruth, build: Build, lot: Lot, index: int, bench: tuple[str, str]) -> Unit:
    serial = _serials(pump, lot)[index]
    rng = np.random.default_rng(seed_of("unit", pump.name, serial))
    draws = rng.standard_normal(3)
    return Unit(
        pump_model=pump.name,
        serial=serial,
        revision=build.revision,
        firmware=lot.firmware,
        clinic=bench[0],
        gauge=bench[1],
        seen=index < round(lot.seen * lot.units),
        speed=float(1.0 + SPEED_SPREAD * draws[0]),
        vacuum_offset=float(VACUUM_SPREAD_MMHG * draws[1]),
        membrane=float(1.0 + MEMBRANE_SPREAD * draws[2]),
    )


def _serials(pump: PumpTruth, lot: Lot) -> list[str]:
    """The lot's serials, drawn without repeats and shuffled, so that the seen ones lie anywhere in it."""
    rng = np.random.default_rng(seed_of("lot", pump.name, repr(lot)))
    drawn: dict[str, None] = {}
    while len(drawn) < lot.units:
        drawn[pump.serial.format(**{k: _draw(v, rng) for k, v in lot.serial.items()})] = None
    return list(drawn)


def _draw(choice: Any, rng: np.random.Generator) -> Any:
    if not isinstance(choice, list):
        return choice
    low, high = choice
    if isinstance(low, str):
        return chr(int(rng.integers(ord(low), ord(high) + 1)))
    return int(rng.integers(low, high + 1))
