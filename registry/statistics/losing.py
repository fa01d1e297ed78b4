"""Whether vacuum is lost more often than before, units held against themselves where they were read twice.

Losses come in clusters, so a run is never a count by itself: what units differ by, from reading to reading,
is seen from the units. Works on a table with one row a unit, clinic and slice of time (see `COLUMNS`), which
`sliced` makes of single runs.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.robust import Floats

Flags = NDArray[np.bool_]
Codes = NDArray[np.intp]
Keys = NDArray[np.int64]
# `slice` counts stretches of time of equal numbers of runs from 0 up; `runs` in it; `losses` is the mean
# number of loss events per 100 cycles, of what is usual at each setting taken off and put back on average.
COLUMNS = ("unit", "clinic", "slice", "runs", "losses")


@dataclass(frozen=True)
class LossLimits:
    """When losses are more frequent: `times` as many as before and `more` per 100 cycles more.

    Clear below `calm` times. Floors: `units`, `clinics` and `runs` on either side; as many clinics must each
    see more, and without the one that saw most chance does as much no oftener than `elsewhere`. `slices`
    is how finely time is cut: so many places are looked at, less one.
    """

    times: float = 2.0
    more: float = 2.0
    calm: float = 1.5
    units: int = 3
    clinics: int = 2
    runs: int = 6
    slices: int = 8
    elsewhere: float = 0.05


LOSS_LIMITS = LossLimits()


@dataclass(frozen=True)
class LossRuns:
    """Single runs of one build, which has at least one.

    A figure a cell: `unit` and `clinic` by key, `setting` by a code from 0 up, and how many `runs` it has. A
    figure a run, cell after cell: `losses` per 100 cycles, and `at`, when it was, in whole numbers that grow
    with time.
    """

    unit: Keys
    clinic: Keys
    setting: Keys
    runs: Keys
    at: Keys
    losses: Floats


def sliced(found: LossRuns, limits: LossLimits = LOSS_LIMITS) -> pd.DataFrame:
    """Return the table `losing` takes, with `at`, when the first of its runs was, besides.

    Times are cut into stretches of as many runs each, the first ones of one more. What a setting usually
    loses is taken off, so that a change of settings is none of losses.
    """
    units, unit = np.unique(found.unit, return_inverse=True)
    clinics, clinic = np.unique(found.clinic, return_inverse=True)
    pair = np.repeat(unit * clinics.size + clinic, found.runs)
    setting = np.repeat(found.setting, found.runs)
    usual = np.bincount(setting, found.losses) / np.maximum(np.bincount(setting), 1)
    told = found.losses - usual[setting] + found.losses.mean()
    # Of one unit at one time the order is of no matter, but it has to be one.
    order = np.lexsort((found.losses, pair, found.at))
    share, more = divmod(order.size, limits.slices)
    stretches = np.arange(limits.slices)
    code = pair[order] * limits.slices + np.repeat(stretches, share + (stretches < more))
    count, total = np.bincount(code), np.bincount(code, told[order])
    first = np.zeros(count.size, np.intp)
    first[code[::-1]] = order[::-1]
    there = np.flatnonzero(count)
    return pd.DataFrame(
        {
            "unit": units[there // limits.slices // clinics.size],
            "clinic": clinics[there // limits.slices % clinics.size],
            "slice": there % limits.slices,
            "runs": count[there],
            "losses": total[there] / count[there],
            "at": found.at[first[there]],
        }
    )


@dataclass(frozen=True)
class Losing:
    """Losses per 100 cycles before and after, where the later slices begin, and the chance of it.

    `agreeing` clinics saw half as much again, each by itself; `times_elsewhere` is how many times as often it
    is without the clinic that saw most, and `p_elsewhere` the chance of that.
    """

    place: int
    before: float
    after: float
    p: float
    units: int
    clinics: int
    agreeing: int
    times_elsewhere: float
    p_elsewhere: float

    @property
    def times(self) -> float:
        """How many times as often; no loss before counts as one in a thousand cycles."""
        return self.after / max(self.before, 0.1)

    def is_material(self, limits: LossLimits = LOSS_LIMITS) -> bool:
        """Enough more to matter, in enough clinics."""
        enough = self.times >= limits.times and self.after - self.before >= limits.more
        elsewhere = self.times_elsewhere >= limits.calm and self.p_elsewhere <= limits.elsewhere
        return enough and self.agreeing >= limits.clinics and elsewhere


def losing(table: pd.DataFrame, limits: LossLimits = LOSS_LIMITS) -> Losing | None:
    """The place after which losses are most surely more frequent; None where no place meets the floors.

    Chances are charged for the number of places.
    """
    rows = _rows(table)
    found = [one for place in range(1, limits.slices) if (one := _at(rows, place, limits)) is not None]
    if not found:
        return None
    best = min(found, key=lambda one: one.p)
    charged = {name: min(1.0, getattr(best, name) * len(found)) for name in ("p", "p_elsewhere")}
    return replace(best, **charged)


@dataclass(frozen=True)
class _Rows:
    """The table with units and clinics counted from 0; `total` is losses times runs."""

    unit: Codes
    clinic: Codes
    place: Floats
    runs: Floats
    total: Floats

    def of(self, keep: Flags) -> "_Rows":
        return _Rows(*(column[keep] for column in vars(self).values()))

    def rate(self) -> float:
        """Losses per 100 cycles over all rows."""
        return float(self.total.sum() / self.runs.sum())

    def rates(self, code: Codes, size: int) -> Floats:
        """Losses per 100 cycles of each code; not a number where it has no rows."""
        runs = np.bincount(code, self.runs, size)
        rates: Floats = np.bincount(code, self.total, size) / np.where(runs > 0, runs, np.nan)
        return rates


def _rows(table: pd.DataFrame) -> _Rows:
    unit, clinic = (np.unique(table[name], return_inverse=True)[1] for name in ("unit", "clinic"))
    runs = table["runs"].to_numpy(float)
    total = table["losses"].to_numpy(float) * runs
    return _Rows(unit, clinic, table["slice"].to_numpy(float), runs, total)


def _at(rows: _Rows, place: int, limits: LossLimits) -> Losing | None:
    later = rows.place >= place
    sides = old, new = rows.of(~later), rows.of(later)
    units, clinics = ([np.unique(getattr(s, what)).size for s in sides] for what in ("unit", "clinic"))
    runs = min(float(side.runs.sum()) for side in sides)
    if min(units) < limits.units or min(clinics) < limits.clinics or runs < limits.runs:
        return None
    by_clinic = _by_clinic(old, new)
    times_elsewhere, p_elsewhere = _elsewhere(old, new, int(np.nanargmax(by_clinic)))
    return Losing(
        place=place,
        before=old.rate(),
        after=new.rate(),
        p=_chance(old, new),
        units=units[1],
        clinics=clinics[1],
        agreeing=int((by_clinic > limits.calm).sum()),
        times_elsewhere=times_elsewhere,
        p_elsewhere=p_elsewhere,
    )


def _chance(old: _Rows, new: _Rows) -> float:
    """One-sided: units seen on both sides against themselves, the others against each other, both joined.

    Square roots make the scatter of counts much the same however many there are (Bartlett 1936, Supplement
    to the Journal of the Royal Statistical Society 3, 68; here from memory).
    """
    size = 1 + int(max(old.unit.max(), new.unit.max()))
    before, after = (np.sqrt(np.maximum(side.rates(side.unit, size), 0.0)) for side in (old, new))
    seen, seen_later = np.isfinite(before), np.isfinite(after)
    parts = [
        _estimate((after - before)[seen & seen_later]),
        _apart(before[seen & ~seen_later], after[seen_later & ~seen]),
    ]
    told = [part for part in parts if part is not None]
    if not told:
        return 1.0
    weights = np.array([1 / variance for _, variance, _ in told])
    shift = float(np.dot(weights, [mean for mean, _, _ in told]) / weights.sum())
    shares = (weights / weights.sum()) ** 2
    freedom = 1 / float(sum(share / df for share, (_, _, df) in zip(shares, told, strict=True)))
    return float(special.stdtr(freedom, -shift * np.sqrt(weights.sum())))


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


def _by_clinic(old: _Rows, new: _Rows) -> Floats:
    """How many times as often each clinic saw losses, not a number for those that did not read later.

    Those that read only later count by what was usual before.
    """
    size = 1 + int(max(old.clinic.max(), new.clinic.max()))
    before, after = (side.rates(side.clinic, size) for side in (old, new))
    times: Floats = after / np.maximum(np.where(np.isnan(before), old.rate(), before), 0.1)
    return times


def _elsewhere(old: _Rows, new: _Rows, most: int) -> tuple[float, float]:
    """How many times as often it is without the clinic that saw most, and the chance of as much.

    None, by sure chance, where no other clinic read both.
    """
    before, after = (side.of(side.clinic != most) for side in (old, new))
    if not before.runs.size or not after.runs.size:
        return 0.0, 1.0
    return after.rate() / max(before.rate(), 0.1), _chance(before, after)
