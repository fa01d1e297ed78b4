"""Whether vacuum is lost more often than before, units held against themselves where they were read twice.

Losses come in clusters, so a run is never a count by itself: what units differ by, from reading to reading,
is seen from the units. Works on a table with one row a unit, clinic and slice of time; see `COLUMNS`.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from registry.statistics.robust import Floats

# `slice` counts stretches of time of equal numbers of runs from 0 up; `runs` in it; `losses` is the mean
# number of loss events per 100 cycles, of what is usual at each setting taken off and put back on average.
Flags = NDArray[np.bool_]
COLUMNS = ("unit", "clinic", "slice", "runs", "losses")


@dataclass(frozen=True)
class LossLimits:
    """When losses are more frequent: `times` as many as before and `more` per 100 cycles more.

    Clear below `calm` times. Floors: `units`, `clinics` and `runs` on either side; as many clinics must each
    see more. `slices` is how finely time is cut: so many places are looked at, less one.
    """

    times: float = 2.0
    more: float = 2.0
    calm: float = 1.5
    units: int = 3
    clinics: int = 2
    runs: int = 6
    slices: int = 8


LOSS_LIMITS = LossLimits()


@dataclass(frozen=True)
class Losing:
    """Losses per 100 cycles before and after, where the later slices begin, and the chance of it.

    `agreeing` clinics saw half as much again, each by itself; `times_elsewhere` is how many times as often it
    is without the clinic that saw most.
    """

    place: int
    before: float
    after: float
    p: float
    units: int
    clinics: int
    agreeing: int
    times_elsewhere: float

    @property
    def times(self) -> float:
        """How many times as often; no loss before counts as one in a thousand cycles."""
        return self.after / max(self.before, 0.1)

    def is_material(self, limits: LossLimits = LOSS_LIMITS) -> bool:
        """Enough more to matter, in enough clinics."""
        enough = self.times >= limits.times and self.after - self.before >= limits.more
        return enough and self.agreeing >= limits.clinics and self.times_elsewhere >= limits.calm


def losing(table: pd.DataFrame, limits: LossLimits = LOSS_LIMITS) -> Losing | None:
    """The place after which losses are most surely more frequent; None where no place meets the floors.

    p is charged for the number of places.
    """
    found = [one for place in range(1, limits.slices) if (one := _at(table, place, limits)) is not None]
    if not found:
        return None
    best = min(found, key=lambda one: one.p)
    return Losing(**{**vars(best), "p": min(1.0, best.p * len(found))})


def _at(table: pd.DataFrame, place: int, limits: LossLimits) -> Losing | None:
    later = table["slice"].to_numpy() >= place
    sides = [_by_unit(table[~later]), _by_unit(table[later])]
    enough = all(
        len(side) >= limits.units
        and side["clinics"].iloc[0] >= limits.clinics
        and side["runs"].sum() >= limits.runs
        for side in sides
    )
    if not enough:
        return None
    (old, new), (before, after) = sides, [float(np.average(s["losses"], weights=s["runs"])) for s in sides]
    return Losing(
        place=place,
        before=before,
        after=after,
        p=_chance(old, new),
        units=len(new),
        clinics=int(new["clinics"].iloc[0]),
        agreeing=int((_by_clinic(table, later) > limits.calm).sum()),
        times_elsewhere=_elsewhere(table, later),
    )


def _by_unit(rows: pd.DataFrame) -> pd.DataFrame:
    """One row a unit; `clinics` is how many read any of them."""
    weighed = rows.assign(total=rows["losses"] * rows["runs"])
    units = weighed.groupby("unit")[["total", "runs"]].sum()
    return units.assign(losses=units["total"] / units["runs"], clinics=rows["clinic"].nunique())


def _chance(old: pd.DataFrame, new: pd.DataFrame) -> float:
    """One-sided: units seen on both sides against themselves, the others against each other, both joined.

    Square roots make the scatter of counts much the same however many there are (Bartlett 1936, Supplement
    to the Journal of the Royal Statistical Society 3, 68; here from memory).
    """
    both = old.index.intersection(new.index)
    parts = [
        _estimate(_root(new.loc[both]) - _root(old.loc[both])),
        _apart(_root(old.drop(both)), _root(new.drop(both))),
    ]
    told = [part for part in parts if part is not None]
    if not told:
        return 1.0
    weights = np.array([1 / variance for _, variance, _ in told])
    shift = float(np.dot(weights, [mean for mean, _, _ in told]) / weights.sum())
    shares = (weights / weights.sum()) ** 2
    freedom = 1 / float(sum(share / df for share, (_, _, df) in zip(shares, told, strict=True)))
    return float(stats.t.sf(shift * np.sqrt(weights.sum()), freedom))


def _root(units: pd.DataFrame) -> Floats:
    roots: Floats = np.sqrt(np.maximum(units["losses"].to_numpy(float), 0.0))
    return roots


_LEAST = 0.05  # what square roots of losses per 100 cycles scatter by at least


def _estimate(changes: Floats) -> tuple[float, float, float] | None:
    """Mean, its variance and degrees of freedom."""
    if changes.size < 2:
        return None
    variance = max(float(changes.var(ddof=1)), _LEAST**2) / changes.size
    return float(changes.mean()), variance, float(changes.size - 1)


def _apart(old: Floats, new: Floats) -> tuple[float, float, float] | None:
    """Welch's comparison of two samples."""
    first, second = _estimate(old), _estimate(new)
    if first is None or second is None:
        return None
    variance = first[1] + second[1]
    freedom = variance**2 / (first[1] ** 2 / first[2] + second[1] ** 2 / second[2])
    return second[0] - first[0], variance, freedom


def _by_clinic(table: pd.DataFrame, later: Flags) -> pd.Series:
    """How many times as often each clinic saw losses; those that read only later count by the rest."""
    before, after = _rates(table[~later]), _rates(table[later])
    usual = float(np.average(table["losses"][~later], weights=table["runs"][~later]))
    return after / before.reindex(after.index).fillna(usual).clip(lower=0.1)


def _elsewhere(table: pd.DataFrame, later: Flags) -> float:
    """How many times as often it is without the clinic that saw most; none where no other read both."""
    others = table["clinic"].to_numpy() != _by_clinic(table, later).idxmax()
    sides = [table[others & side] for side in (~later, later)]
    if not all(len(side) for side in sides):
        return 0.0
    before, after = (float(np.average(side["losses"], weights=side["runs"])) for side in sides)
    return after / max(before, 0.1)


def _rates(rows: pd.DataFrame) -> pd.Series:
    """Losses per 100 cycles by clinic."""
    weighed = rows.assign(total=rows["losses"] * rows["runs"]).groupby("clinic")[["total", "runs"]].sum()
    return weighed["total"] / weighed["runs"]
