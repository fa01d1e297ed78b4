"""Boil a build's readings down to one figure a unit and bench in each channel.

A channel is one metric, over all settings or over those of one mode.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from registry.statistics.mixed import Codes
from registry.statistics.pairs import two_way
from registry.statistics.robust import Floats, middles, scaled_mad
from registry.statistics.unlisted.limits import IN_MMHG, LIMITS, Limits

# What a unit reads anew when it is put on a bench again, in spreads: common practice, no published source.
_PUT_UP = 0.15
_ENOUGH_ROWS = 4


@dataclass(frozen=True)
class Rows:
    """One row a unit at a bench: figures `value`, variances `noise` of what its runs leave open.

    A bench is one gauge of one clinic between two calibrations; `unit` counts from 0 in the order the caller
    gave; `bench` and `clinic` are codes from 0. `spread` is what units of one build usually differ by.
    """

    unit: Codes
    bench: Codes
    clinic: Codes
    value: Floats
    noise: Floats
    units: int
    benches: int
    spread: float

    def kept(self, keep: np.ndarray) -> "Rows":
        """The rows where `keep` is true; units and benches keep their codes, which may be idle then."""
        return replace(
            self,
            unit=self.unit[keep],
            bench=self.bench[keep],
            clinic=self.clinic[keep],
            value=self.value[keep],
            noise=self.noise[keep],
        )

    def of_units(self, first: int, last: int) -> "Rows":
        """The rows of units from one place up to, not including, another, which count from 0 again."""
        kept = self.kept((self.unit >= first) & (self.unit < last))
        benches, bench = np.unique(kept.bench, return_inverse=True)
        return replace(kept, unit=kept.unit - first, units=last - first, bench=bench, benches=benches.size)

    def middle(self) -> Floats:
        """The median of each row's bench, a figure a row."""
        bench = np.unique(self.bench, return_inverse=True)[1]
        found: Floats = middles(self.value, bench)[bench]
        return found

    def reined(self, limits: Limits, about: Floats | None = None) -> tuple["Rows", Floats]:
        """Values no further than so many spreads from what is expected, and how far they were in spreads.

        `about` is the expected value a row, the bench's median unless given.
        """
        centre = self.middle() if about is None else about
        apart = self.value - centre
        shared = np.bincount(self.bench)[self.bench] > 1
        rows, benches = int(shared.sum()), np.unique(self.bench[shared]).size
        own = scaled_mad(apart[shared]) * (rows / max(rows - benches, 1)) ** 0.5 if rows else 0.0
        weight = max(rows - benches, 0)
        usual = self.spread**2
        scale = ((limits.weight * usual + weight * own**2) / (limits.weight + weight)) ** 0.5
        reach = limits.reined * scale
        return replace(self, value=centre + np.clip(apart, -reach, reach)), apart / scale


@dataclass(frozen=True)
class Channel:
    """One metric over all settings, or over those of one mode."""

    metric: str
    mode: str
    rows: Rows

    @property
    def name(self) -> str:
        """The metric, with the mode where it is one mode's."""
        return f"{self.metric} in {self.mode}" if self.mode else self.metric


def channels(table: pd.DataFrame, units: Sequence[int], limits: Limits = LIMITS) -> list[Channel]:
    """Return every channel of one build that has rows.

    `table` has columns unit, clinic, gauge, cell (a setting and metric), metric, mode, mean, runs,
    squares, and `period` where a gauge was calibrated in between. `units` are the keys in the order looked
    along; rows of other units are left out. Single modes are channels of their own where there are several.
    """
    place = {unit: index for index, unit in enumerate(units)}
    table = table[table["unit"].isin(place)]
    found = []
    for metric, of_metric in table.groupby("metric", sort=True, observed=True):
        for mode, rows in _by_mode(of_metric):
            at = rows["unit"].map(place).to_numpy().astype(np.intp)
            found.append(Channel(str(metric), mode, _rows(rows, at, len(units), str(metric), limits)))
    return found


def _by_mode(table: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    yield "", table
    modes = table.groupby("mode", sort=True, observed=True)
    if modes.ngroups > 1:
        for mode, rows in modes:
            if len(rows) >= _ENOUGH_ROWS:
                yield str(mode), rows


def _rows(table: pd.DataFrame, unit: Codes, units: int, metric: str, limits: Limits) -> Rows:
    bench_of = _codes(table, ["clinic", "gauge", *(["period"] if "period" in table else [])])
    clinic_of = pd.factorize(table["clinic"])[0]
    pairs, pair = np.unique(unit * (int(bench_of.max()) + 1) + bench_of, return_inverse=True)
    first = np.zeros(pairs.size, np.intp)
    first[pair[::-1]] = np.arange(pair.size)[::-1]
    cell = pd.factorize(table["cell"])[0]
    spread, mean = limits.spread(metric), table["mean"].to_numpy(float)
    value = two_way(mean if metric in IN_MMHG else np.log(mean), pair, cell)
    runs = np.bincount(pair, table["runs"].to_numpy(float))
    benches, bench = np.unique(bench_of[first], return_inverse=True)
    return Rows(
        unit=unit[first],
        bench=bench,
        clinic=clinic_of[first],
        value=value,
        noise=(_PUT_UP * spread) ** 2 + _repeats(table, metric) / runs,
        units=units,
        benches=benches.size,
        spread=spread,
    )


def _repeats(table: pd.DataFrame, metric: str) -> float:
    """The variance of runs repeated at one setting; nought where nothing was repeated."""
    runs = table["runs"].to_numpy(float)
    freedom = float((runs - 1).sum())
    if freedom <= 0:
        return 0.0
    squares = table["squares"].to_numpy(float)
    if metric not in IN_MMHG:
        squares = squares / table["mean"].to_numpy(float) ** 2
    return float(squares.sum() / freedom)


def _codes(table: pd.DataFrame, names: Sequence[str]) -> Codes:
    codes = np.zeros(len(table), np.int64)
    for name in names:
        of, kinds = pd.factorize(table[name])
        codes = codes * max(len(kinds), 1) + of
    return np.unique(codes, return_inverse=True)[1]
