"""Which gauges lean, and since when: what the rules about gauges, clinics and units have in common."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.models import Gauge
from registry.statistics.discoveries import looked_at_again
from registry.statistics.epochs import Step, parted, past_of
from registry.statistics.robust import Floats
from registry.statistics.shifts import LIMITS, Examined, Shift, examine


@dataclass(frozen=True)
class Leaning:
    """What was found of the gauges. `examined` is None where no build was read by two clinics.

    `gauges` are the gauges that were read, with their clinic and name; `shifts` has those that have others to
    be held against, `past` what was so of them before they changed. `steps` has the step by which a gauge's
    present epoch began, where it had others before.
    """

    examined: Examined | None = None
    gauges: Mapping[int, tuple[int, str, str]] = field(default_factory=dict)
    shifts: Mapping[int, Shift] = field(default_factory=dict)
    steps: Mapping[int, Step] = field(default_factory=dict)
    past: Mapping[int, Shift] = field(default_factory=dict)

    def chance(self, gauge: int) -> float:
        """A gauge's p value: against the others and for the step that made it lean, taken together.

        Charged for looking again: what a gauge scatters by bears on how it reads against others, and not on
        a step, whose chance was charged when it was found. Joined by their weighted harmonic mean (Wilson
        2019, Proceedings of the National Academy of Sciences 116, 1195): either may do alone, both tell more.
        """
        shift = self.shifts[gauge]
        level = looked_at_again(shift.p, self.growth(shift))
        if gauge not in self.steps:
            return level
        # A step is far better known than how gauges stand.
        chances = max(level, _LEAST), max(self.steps[gauge].chance, _LEAST)
        return min(1.0, 1.0 / (_LEVEL / chances[0] + (1 - _LEVEL) / chances[1]))

    def is_material(self, gauge: int) -> bool:
        """Whether a gauge reads off by what matters, or has changed by as much and not been put right."""
        return self.shifts[gauge].is_material() or self.has_changed(gauge)

    def has_changed(self, gauge: int) -> bool:
        """Whether a gauge took a step that matters to where it reads off now.

        Where a gauge leaned the other way before, it reads off by less than it changed by.
        """
        step, shift = self.steps.get(gauge), self.shifts[gauge]
        if step is None or not shift.is_carried():
            return False
        now = float(np.log1p(shift.shift))
        put_right = now * step.size < 0 or abs(now) < abs(now - step.size) / 2
        return abs(np.expm1(step.size)) >= LIMITS.off and abs(shift.shift) >= LIMITS.clear and not put_right

    def is_confirmed(self, gauge: int) -> bool:
        """Whether two halves of the units say so each alone: of where the gauge reads, or of its step."""
        step = self.steps.get(gauge)
        stepped = step is not None and step.halves_agree and self.has_changed(gauge)
        return stepped or self.shifts[gauge].halves_agree()

    def growth(self, shift: Shift) -> float:
        """How much more there is to learn of a gauge than its first `LIMITS.units` units told (a logarithm).

        What gauges scatter by is drawn once, however many units they read.
        """
        if self.examined is None:
            return 0.0
        own = max(shift.error**2 - self.examined.scatter**2, 0.0) * shift.units
        return float(np.log1p(own / LIMITS.units / self.examined.scatter**2))

    def since(self, gauge: int) -> datetime | None:
        """When the gauge began to read as it does; None where it always has."""
        step = self.steps.get(gauge)
        return None if step is None else datetime.fromtimestamp(step.at, UTC)

    def of_rows(self, pairs: pd.DataFrame) -> Floats:
        """What each row of dated pairs is off by for its gauge's sake, as a logarithm.

        Every gauge counts of which it cannot be said that it is sound, in its present epoch and before.
        """
        gauges, gauge = np.unique(pairs["gauge"].to_numpy(np.int64), return_inverse=True)
        now, before = (_suspect(shifts, gauges) for shifts in (self.shifts, self.past))
        start = np.array([self.steps[one].at if one in self.steps else -np.inf for one in gauges.tolist()])
        return np.where(pairs["at"].to_numpy(float) >= start[gauge], now[gauge], before[gauge])


def _suspect(shifts: Mapping[int, Shift], gauges: NDArray[np.int64]) -> Floats:
    """What gauges lean by that may not be sound."""
    found = [shifts.get(gauge) for gauge in gauges.tolist()]
    return np.array(
        [
            float(np.log1p(shift.shift)) if shift and shift.is_carried() and not shift.is_clear() else 0.0
            for shift in found
        ]
    )


def leaning_of(pairs: pd.DataFrame, watched: int) -> Leaning:
    """Look through the gauges of a table of dated pairs of vacuum: one query for their names."""
    named = Gauge.objects.filter(pk__in=pairs["gauge"].unique().tolist()).values_list(*_NAMES)
    return lean(pairs, watched, {pk: (clinic, code, name) for pk, clinic, code, name in named})


def lean(pairs: pd.DataFrame, watched: int, gauges: Mapping[int, tuple[int, str, str]]) -> Leaning:
    """Look through gauges whose clinics and names are known; `watched` is how many there are in all."""
    parts = parted(pairs)
    found = examine(parts.pairs, watched=watched, fitted=parts.fitted)
    shifts = {shift.who: shift for shift in found.gauges()} if found else {}
    present = {gauge: shift for gauge, shift in shifts.items() if gauge in gauges}
    past = {gauge: shifts[past_of(gauge)] for gauge in parts.steps if past_of(gauge) in shifts}
    return Leaning(found, gauges, present, parts.steps, past)


_LEVEL = 0.2
_LEAST = 1e-300
_NAMES = ("pk", "clinic_id", "clinic__code", "code")
