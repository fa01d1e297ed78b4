"""Loss events over random traces: found, at what time, and of which kind."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np

from registry.waveform import Measured, measure_reading

from .readings import EXACT, ZEROED, reading_of
from .truth import Trace, random_bench, random_pump, record

WITHIN = 0.5  # of a period: further off is another event


@dataclass
class Matched:
    """Loss events: found and made, found only, made only; pairs of (kind made, kind found); times off."""

    both: int = 0
    extra: int = 0
    missed: int = 0
    kinds: Counter[tuple[str, str]] = field(default_factory=Counter)
    off: list[float] = field(default_factory=list)

    @property
    def precision(self) -> float:
        """Share of the found events that were made."""
        return self.both / max(self.both + self.extra, 1)

    @property
    def recall(self) -> float:
        """Share of the made events that were found."""
        return self.both / max(self.both + self.missed, 1)

    @property
    def right_kind(self) -> float:
        """Share of the events found that were found as what they are."""
        return sum(count for (made, found), count in self.kinds.items() if made == found) / max(self.both, 1)

    def add(self, other: "Matched") -> None:
        """Count another trace's events, too."""
        self.both, self.extra = self.both + other.both, self.extra + other.extra
        self.missed += other.missed
        self.kinds += other.kinds
        self.off += other.off


def match_losses(measured: Measured, trace: Trace, period: float, seconds: float) -> Matched:
    """Pair events by time. Cycles cut by an end of the trace count neither way.

    The table's start is where a cycle passes mid-reference, some part of its pull after its beginning; what
    all cycles of a trace share of that is taken off the times.
    """
    rows = zip(measured.cycles.start_s.tolist(), measured.cycles.loss, strict=True)
    found = [(at, kind) for at, kind in rows if kind]
    result = Matched()
    for at, kind in trace.losses:
        near = min(found, key=lambda event: abs(event[0] - at), default=(np.inf, ""))
        if abs(near[0] - at) < WITHIN * period:
            found.remove(near)
            result.both += 1
            result.kinds[kind, near[1]] += 1
            result.off.append((near[0] - at) / period)
        else:
            result.missed += 1
    result.extra = sum(0 < start < seconds - period for start, _ in found)
    return result


def losses(count: int, seed: int) -> Matched:
    """Loss events over random traces with up to one cycle in ten lost."""
    rng = np.random.default_rng(seed)
    total = Matched()
    for _ in range(count):
        pump, bench = random_pump(rng, losses=True), random_bench(rng)
        trace = record(pump, bench, rng)
        measured = measure_reading(reading_of(trace), gauge=EXACT, declared=ZEROED)
        total.add(match_losses(measured, trace, pump.period, bench.seconds))
    return total
