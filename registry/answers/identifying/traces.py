"""Traces of the pump in hand: measured by the server, and set beside what builds do at that setting."""

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from registry.answers.blocks import UNKNOWN, Block, distinct
from registry.answers.readings import readings_in
from registry.answers.wording import natural
from registry.errors import DomainError, Fault, Invalid, SideNeeded
from registry.intake.measure import preview
from registry.intake.provenance import Provenance, understand
from registry.models import Operator, Rig
from registry.models.elevation import elevation_band
from registry.statistics.foreseen import USUAL_SPREAD, Foreseen, foresee, usual_variance
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS
from registry.statistics.predictive import Reading
from registry.statistics.recorded import Known
from registry.statistics.togetherness import Code, Seen, Together
from registry.waveform import Measured

METRICS = tuple(USUAL_SPREAD)
MOST_TRACES = 12
MOST_UNITS = 60
# What may be said of a trace: where it came from, but for what says which pump it is and who recorded it.
KEYS = (
    *("mode", "programme", "level", "side", "protector", "valve", "tubing", "flange_mm", "load_ml"),
    *("gauge", "recorded_at", "power", "elevation_m", "ambient_kpa", "zero_offset"),
    *("unit", "rate_hz", "vacuum_column", "sign"),
)
_PARTS = ("protector", "valve", "tubing", "flange_mm", "load_ml")


class Setting(NamedTuple):
    """Where like is set beside like."""

    mode: str
    programme: str
    level: str
    side: str
    rig: int
    power: str
    elevation: str


@dataclass(frozen=True)
class Trace:
    """One trace as it was sent: the file's name, its bytes, and what was said of it."""

    name: str
    data: bytes
    said: Mapping[str, Any]


@dataclass(frozen=True)
class Recorded:
    """A trace that was measured: what was said of it understood, and what it measures as."""

    name: str
    said: Provenance
    measured: Measured

    @property
    def side(self) -> str:
        """The side as said, else as its column tells."""
        return self.said.side or self.measured.understood.side

    @property
    def where(self) -> str:
        """The setting in words."""
        return " ".join(part for part in (self.said.mode, self.said.programme, self.said.level) if part)


def measure_all(traces: Sequence[Trace], operator: Operator | None) -> list[Recorded]:
    """Measure each trace by its gauge, as `measure` does; stores nothing.

    Raises Invalid for more than twelve traces, for a file that comes twice and for what may not be said of
    one, UnreadableTrace, SideNeeded or TooLarge; each names the trace.
    """
    if len(traces) > MOST_TRACES:
        raise Invalid(
            f"{len(traces)} traces are more than are taken at once",
            hint=f"Send at most {MOST_TRACES}; two settings where builds differ usually do.",
            faults=(Fault(f"at most {MOST_TRACES} traces", field="traces"),),
        )
    _each_once(traces)
    return [_measured(trace, operator) for trace in traces]


def _each_once(traces: Sequence[Trace]) -> None:
    """One recording would weigh twice. A file of both sides comes once for each side."""
    seen: dict[tuple[bytes, str, str], str] = {}
    for trace in traces:
        side, column = (
            str(trace.said.get(key) or "").strip().casefold() for key in ("side", "vacuum_column")
        )
        recording = hashlib.sha256(trace.data).digest(), side, column
        first = seen.get(recording)
        if first is not None:
            raise Invalid(
                f"{trace.name}: is the same recording as {first}",
                hint="Each recording counts once; leave one of the two out, or pick the right file.",
                faults=(Fault("holds a recording that came before", field="traces"),),
            )
        seen[recording] = trace.name


def _measured(trace: Trace, operator: Operator | None) -> Recorded:
    said = _understood(trace)
    try:
        found = preview(trace.data, trace.said, operator)
    except DomainError as error:
        error.detail = f"{trace.name}: {error.detail}"
        raise
    if found.sides is not None:
        raise SideNeeded(
            f"{trace.name}: the file holds both sides of the pump",
            hint="Say side left or side right, and send the file once for each side if both count.",
            faults=(Fault("left or right?", field="side"),),
        )
    return Recorded(trace.name, said, found.measured)


def _understood(trace: Trace) -> Provenance:
    wrong = sorted(set(trace.said) - set(KEYS))
    faults = [Fault("unknown key", field=key) for key in wrong]
    faults += [
        Fault("is needed", field=key) for key in ("mode", "level") if trace.said.get(key) in (None, "")
    ]
    if faults:
        raise Invalid(
            f"{trace.name}: " + "; ".join(f"{fault.field}: {fault.message}" for fault in faults),
            hint=f"Of a trace may be said: {', '.join(KEYS)}. Nothing about a client may enter.",
            faults=tuple(faults),
        )
    return understand(trace.said, partial=True)


@dataclass(frozen=True)
class Stock:
    """What was measured of a pump model's builds (revision keys in order), setting by setting."""

    builds: tuple[int, ...]
    blocks: Mapping[Setting, Mapping[str, Mapping[int, Block]]]
    rigs: Mapping[int, Rig]

    @classmethod
    def of(cls, builds: Sequence[int], blocks: Iterable[Block], rigs: Mapping[int, Rig]) -> "Stock":
        """Sort the summaries of known builds by setting, metric and build."""
        found: dict[Setting, dict[str, dict[int, Block]]] = {}
        for block in blocks:
            if block.revision != UNKNOWN and block.setting.metric in METRICS:
                setting = Setting._make(block.setting.place)
                by_build = found.setdefault(setting, {}).setdefault(block.setting.metric, {})
                by_build[block.revision] = _some_units(block)
        return cls(tuple(builds), found, rigs)

    def counts(self, setting: Setting, build: int) -> tuple[int, int]:
        """Units and clinics that measured a build there, of the metric that fewest did."""
        blocks = [by_build[build] for by_build in self.blocks[setting].values() if build in by_build]
        if not blocks:
            return 0, 0
        return min(len(distinct([b], "unit")) for b in blocks), min(
            len(distinct([b], "clinic")) for b in blocks
        )

    def is_thin(self, setting: Setting, build: int) -> bool:
        """Whether too few units or clinics measured a build there to name it by."""
        units, clinics = self.counts(setting, build)
        return units < ENOUGH_UNITS or clinics < ENOUGH_CLINICS

    def measured(self, setting: Setting) -> int:
        """How many builds were measured there."""
        return len(set().union(*(by_build.keys() for by_build in self.blocks[setting].values())))

    def _rank(self, setting: Setting) -> tuple[Any, ...]:
        units = [self.counts(setting, build)[0] for build in self.builds]
        return -self.measured(setting), -min(units), -sum(units), natural(setting.level), setting

    def best(self, settings: Iterable[Setting]) -> Setting | None:
        """The setting with most builds measured, then with most units."""
        return min(settings, key=self._rank, default=None)

    def apart(self, setting: Setting) -> float:
        """How far the builds' plain means lie apart there, in what units of a build commonly differ by."""
        found = [0.0]
        for metric, by_build in self.blocks[setting].items():
            means = [float(block.mean.mean()) for block in by_build.values()]
            usual = usual_variance(metric, float(np.mean(means))) ** 0.5
            found.append((max(means) - min(means)) / usual)
        return max(found)

    def fitting(self, recorded: Recorded) -> Setting | None:
        """The setting that agrees with all that was said of a trace; None where nobody measured there.

        What was not said (a part of the rig, the power, a programme) may be anything; then the best known
        counts.
        """
        return self.best(setting for setting in self.blocks if self._agrees(setting, recorded))

    def _agrees(self, setting: Setting, recorded: Recorded) -> bool:
        said = recorded.said
        if (setting.mode, setting.level) != (said.mode, said.level) or setting.side != recorded.side:
            return False
        if said.programme and setting.programme.casefold() != said.programme.casefold():
            return False
        if said.power[0] and setting.power != said.power[0]:
            return False
        if self._air(said) not in ("", setting.elevation):
            return False
        rig = self.rigs[setting.rig]
        return all(getattr(said, part) in ("", None, getattr(rig, part)) for part in _PARTS)

    @staticmethod
    def _air(said: Provenance) -> str:
        return elevation_band(said.elevation_m, said.ambient_kpa).value

    def known(self, settings: Iterable[Setting]) -> Known:
        """What the numerics need to know of all builds at these settings."""
        foreseen: dict[Code, list[Foreseen | None]] = {}
        seen: dict[Code, list[Seen]] = {}
        for setting in set(settings):
            for metric, by_build in self.blocks[setting].items():
                there = [build for build in self.builds if build in by_build]
                found = dict(
                    zip(there, foresee(readings_in([[by_build[b]] for b in there]), metric), strict=True)
                )
                foreseen[setting, metric] = [found.get(build) for build in self.builds]
                seen[setting, metric] = [_seen(by_build.get(build)) for build in self.builds]
        return Known(len(self.builds), foreseen, Together(seen))


def _some_units(block: Block) -> Block:
    """The readings of sixty units at most, evenly over all: more move no chance by what can be seen."""
    units = np.unique(block.unit)
    if units.size <= MOST_UNITS:
        return block
    kept = units[np.linspace(0, units.size - 1, MOST_UNITS).astype(int)]
    return block.only(np.isin(block.unit, kept))


def _seen(block: Block | None) -> Seen:
    if block is None:
        nothing = np.zeros(0, np.int64)
        return Seen(nothing, nothing, np.zeros(0))
    return Seen(block.unit, block.clinic * 2**20 + block.gauge + 1, block.mean)


def readings_of(recorded: Recorded, setting: Setting, gauges: Mapping[str, int]) -> list[Reading]:
    """The metrics of a trace as the numerics take them; `gauges` numbers the gauges by code."""
    found = recorded.measured.metrics
    return [
        Reading(
            code=(setting, metric),
            gauge=gauges[recorded.said.gauge.casefold()],
            value=found[metric].value,
            random=found[metric].u_random,
            systematic=found[metric].u_systematic,
        )
        for metric in METRICS
        if metric in found
    ]


def in_words(setting: Setting, rigs: Mapping[int, Rig]) -> str:
    """A setting with what it was measured with, in words."""
    told = " ".join(part for part in setting[:3] if part)
    around = (f"on {setting.power}" if setting.power else "", setting.elevation)
    return ", ".join([f"{told} with {rigs[setting.rig].label}", *filter(None, around)])
