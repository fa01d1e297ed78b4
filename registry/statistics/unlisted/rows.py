"""Boil a build's readings down to one figure a unit and bench in each channel.

A channel is one metric, over all settings or over those of one mode.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from registry.statistics.mixed import Codes
from registry.statistics.pairs import two_way
from registry.statistics.robust import Floats, middles, scaled_mad
from registry.statistics.unlisted.limits import IN_MMHG, LIMITS, Limits

# What a unit reads anew when it is put on a bench again, in spreads: common practice, no published source.
_PUT_UP = 0.15
_ENOUGH_ROWS = 4
_COLUMNS = ("unit", "clinic", "gauge", "period", "cell", "mean", "runs", "squares")
Columns = Mapping[str, NDArray[Any]]


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
        """The rows where `keep` is true, or those it names; codes of units and benches stay, some idle."""
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

    def in_order(self, places: Codes) -> "Rows":
        """The same with units in another order: the one at k so far stands at `places[k]`."""
        unit = places[self.unit]
        return replace(self, unit=unit).kept(np.argsort(unit, kind="stable"))

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


class Channels:
    """The channels of one build, along any order of its units; readings are boiled down once a set of units.

    `table` has columns unit, clinic, gauge, cell (a setting and metric), metric, mode, mean, runs, squares,
    and `period` where a gauge was calibrated in between. Single modes are channels of their own where there
    are several.
    """

    def __init__(self, table: pd.DataFrame, limits: Limits = LIMITS) -> None:
        self.table, self.limits = table, limits
        self._made: dict[tuple[int, ...], list[Channel]] = {}

    def along(self, units: Sequence[int]) -> list[Channel]:
        """Every channel that has rows. Rows of units not named, by their keys, are left out."""
        asked = np.array(units, np.int64)
        order = np.argsort(asked)
        key = tuple(asked[order].tolist())
        if key not in self._made:
            self._made[key] = list(self._of(asked[order]))
        return [replace(one, rows=one.rows.in_order(order)) for one in self._made[key]]

    def _of(self, units: NDArray[np.int64]) -> Iterator[Channel]:
        """The channels along units in order of their keys."""
        columns = {name: self.table[name].to_numpy() for name in _COLUMNS if name in self.table}
        (metric_of, metrics), (mode_of, modes) = (
            pd.factorize(self.table[name], sort=True) for name in ("metric", "mode")
        )
        asked = np.isin(columns["unit"], units)
        for metric, name in enumerate(metrics):
            of_metric = np.flatnonzero(asked & (metric_of == metric))
            for mode, at in _by_mode(of_metric, mode_of, modes):
                rows = {column: values[at] for column, values in columns.items()}
                place = np.searchsorted(units, rows["unit"])
                yield Channel(str(name), mode, _rows(rows, place, units.size, str(name), self.limits))


def _by_mode(rows: Codes, mode_of: Codes, modes: Iterable[str]) -> Iterator[tuple[str, Codes]]:
    """All rows of a metric, if there are any, and those of each mode where there are several."""
    if rows.size:
        yield "", rows
    own = [(str(name), rows[mode_of[rows] == mode]) for mode, name in enumerate(modes)]
    if sum(at.size > 0 for _, at in own) > 1:
        yield from ((name, at) for name, at in own if at.size >= _ENOUGH_ROWS)


def _rows(table: Columns, unit: Codes, units: int, metric: str, limits: Limits) -> Rows:
    bench_of = _codes([table[name] for name in ("clinic", "gauge", "period") if name in table])
    clinic_of = pd.factorize(table["clinic"])[0]
    pairs, pair = np.unique(unit * (int(bench_of.max()) + 1) + bench_of, return_inverse=True)
    first = np.zeros(pairs.size, np.intp)
    first[pair[::-1]] = np.arange(pair.size)[::-1]
    cell = pd.factorize(table["cell"])[0]
    spread, mean = limits.spread(metric), table["mean"].astype(float)
    value = two_way(mean if metric in IN_MMHG else np.log(mean), pair, cell)
    runs = np.bincount(pair, table["runs"].astype(float))
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


def _repeats(table: Columns, metric: str) -> float:
    """The variance of runs repeated at one setting; nought where nothing was repeated."""
    freedom = float((table["runs"].astype(float) - 1).sum())
    if freedom <= 0:
        return 0.0
    squares = table["squares"].astype(float)
    if metric not in IN_MMHG:
        squares = squares / table["mean"].astype(float) ** 2
    return float(squares.sum() / freedom)


def _codes(columns: Iterable[NDArray[Any]]) -> Codes:
    """A code from 0 up for each row, alike where all columns are."""
    codes: Any = 0
    for column in columns:
        of, kinds = pd.factorize(column)
        codes = codes * max(len(kinds), 1) + of
    return np.unique(codes, return_inverse=True)[1]
