"""Which gauges lean, and since when: what the rules about gauges, clinics and units have in common."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from registry.models import Gauge
from registry.statistics.discoveries import looked_at_again
from registry.statistics.epochs import parted
from registry.statistics.robust import Floats
from registry.statistics.shifts import LIMITS, Examined, Shift, examine


@dataclass(frozen=True)
class Leaning:
    """What was found of the gauges. `examined` is None where no build was read by two clinics.

    `gauges` are the gauges that were read, with their clinic and name; `shifts` has those that have others to
    be held against. `began` is when a gauge's present epoch began, where it had others before, `steps` how
    likely that is by chance.
    """

    examined: Examined | None = None
    gauges: Mapping[int, tuple[int, str, str]] = field(default_factory=dict)
    shifts: Mapping[int, Shift] = field(default_factory=dict)
    began: Mapping[int, float] = field(default_factory=dict)
    steps: Mapping[int, float] = field(default_factory=dict)

    def chance(self, gauge: int) -> float:
        """A gauge's p value: against the others, or for the step that made it lean, whichever tells more.

        Charged for looking again: what a gauge scatters by bears on how it reads against others, and not on
        a step, whose chance was charged when it was found.
        """
        shift = self.shifts[gauge]
        level = looked_at_again(shift.p, self.growth(shift))
        if gauge not in self.steps:
            return level
        # Two ways to be told share one chance; a step is far better known than how gauges stand.
        return min(1.0, level / _LEVEL, self.steps[gauge] / (1 - _LEVEL))

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
        began = self.began.get(gauge)
        return None if began is None else datetime.fromtimestamp(began, UTC)

    def of_rows(self, pairs: pd.DataFrame) -> Floats:
        """What each row of dated pairs is off by for its gauge's sake, as a logarithm.

        Every gauge counts of which it cannot be said that it is sound, from its present epoch on.
        """
        suspect = {
            gauge: float(np.log1p(shift.shift))
            for gauge, shift in self.shifts.items()
            if shift.is_carried() and not shift.is_clear()
        }
        start = pairs["gauge"].map(dict(self.began)).fillna(-np.inf).to_numpy(float)
        leans = pairs["gauge"].map(suspect).fillna(0.0).to_numpy(float)
        return np.where(pairs["at"].to_numpy(float) >= start, leans, 0.0)


def leaning_of(pairs: pd.DataFrame, watched: int) -> Leaning:
    """Look through the gauges of a table of dated pairs of vacuum: one query for their names."""
    named = Gauge.objects.filter(pk__in=pairs["gauge"].unique().tolist()).values_list(*_NAMES)
    return lean(pairs, watched, {pk: (clinic, code, name) for pk, clinic, code, name in named})


def lean(pairs: pd.DataFrame, watched: int, gauges: Mapping[int, tuple[int, str, str]]) -> Leaning:
    """Look through gauges whose clinics and names are known; `watched` is how many there are in all."""
    parts = parted(pairs)
    found = examine(parts.pairs, watched=watched)
    shifts = {shift.who: shift for shift in found.gauges() if shift.who in gauges} if found else {}
    return Leaning(found, gauges, shifts, parts.began, parts.chances)


_LEVEL = 0.2
_NAMES = ("pk", "clinic_id", "clinic__code", "code")
