"""Places of many pump models side by side, as columns: what a question narrows down to is marked at once."""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.filters import are_programme, is_rig
from registry.answers.keeping.written import written
from registry.answers.matching.ahead import FIGURES, Ahead, column_of, pairs_of
from registry.answers.matching.row_texts import ahead_texts
from registry.answers.places import Named
from registry.statistics.domains import domain_of
from registry.statistics.matching import Predictions
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS
from registry.statistics.robust import Floats
from registry.statistics.roughly import Bound, Column

# What filters on UnitSummary are called here.
_COLUMNS = {"programme__iexact": "programme", "unit__revision": "revision"}


_AHEAD = ("value", "error", "freedom")
# So many sets of metrics are remembered of a table.
_MOST_SETS = 32


@dataclass(frozen=True)
class Together:
    """Several metrics at all places: which of these carry all of them.

    `units` and `clinics` are those of the metric that has fewest. `told` are the rows where what is ahead
    can be told, marked in `is_told`, and `ahead` tells it there, metric by metric.
    """

    measured: NDArray[np.bool_]
    units: NDArray[np.int64]
    clinics: NDArray[np.int64]
    is_told: NDArray[np.bool_]
    told: NDArray[np.intp]
    ahead: tuple[Column, ...]

    def ahead_at(self, rows: NDArray[np.intp]) -> Sequence[Column]:
        """What is ahead at some of the rows where it can be told."""
        if rows.size == self.told.size:
            return self.ahead
        at = np.searchsorted(self.told, rows)
        return [of.at(at) for of in self.ahead]


class Table:
    """The places of pump models, in the order of their names; never changed once made.

    What is asked of it is put together from the models' own arrays and remembered. Two threads that ask at
    once do so twice, and find the same.
    """

    def __init__(self, aheads: Sequence[Ahead]) -> None:
        with_places = [ahead for ahead in aheads if ahead.places]
        self.aheads = sorted(with_places, key=lambda ahead: ahead.places[0].model)
        self._starts = list(accumulate((len(ahead.places) for ahead in self.aheads), initial=0))
        self._known: dict[tuple[str, ...], NDArray[Any]] = {}
        self._together: dict[tuple[str, ...], Together] = {}
        self._columns: dict[str, Column] = {}
        self._shown: dict[int, str] = {}
        self._ahead: dict[str, dict[int, str]] = {}

    @property
    def size(self) -> int:
        """How many places there are."""
        return self._starts[-1]

    def where(self, row: int) -> tuple[Ahead, int]:
        """The model's own table, and the row there."""
        model = bisect_right(self._starts, row) - 1
        return self.aheads[model], row - self._starts[model]

    def named(self, row: int) -> Named:
        """A place as documents name it."""
        ahead, at = self.where(row)
        return ahead.places[at]

    def counts(self, row: int) -> tuple[int, int]:
        """Units and clinics of all of ALIKE at a place."""
        ahead, at = self.where(row)
        units, clinics = ahead.counts[at].tolist()
        return units, clinics

    def column(self, name: str) -> NDArray[Any]:
        """What places are narrowed down by; see `Ahead.columns`."""
        if (name,) not in self._known:
            return self._joined((name,), [ahead.columns[name] for ahead in self.aheads])
        return self._known[name,]

    def figures(self, metric: str, name: str) -> Floats:
        """One of FIGURES of a metric, NaN where it was not measured."""
        if (metric,) not in self._known:
            rows = np.concatenate(
                [np.zeros((0, len(FIGURES))), *(of.figures_of(metric) for of in self.aheads)]
            )
            self._known[metric,] = np.ascontiguousarray(rows.T)
        figures: Floats = self._known[metric,][FIGURES.index(name)]
        return figures

    def shown(self, row: int) -> str:
        """Where a row of a document belongs, as the beginning of its JSON text."""
        if row not in self._shown:
            self._shown[row] = written(self.named(row).shown())[:-1].decode()
        return self._shown[row]

    def together(self, metrics: Iterable[str]) -> Together:
        """Several metrics at all places."""
        key = tuple(metrics)
        found = self._together.get(key)
        if found is None:
            while len(self._together) >= _MOST_SETS:
                self._together.pop(next(iter(self._together)), None)
            found = self._together[key] = self._of_all(key)
        return found

    def _of_all(self, metrics: Sequence[str]) -> Together:
        units, clinics = (
            np.min([self.figures(metric, name) for metric in metrics], axis=0)
            for name in ("units", "clinics")
        )
        there = ~np.isnan(units)
        told = there & (units >= ENOUGH_UNITS) & (clinics >= ENOUGH_CLINICS)
        for metric in metrics:
            told &= ~np.isnan(self.figures(metric, "value"))
        rows = np.flatnonzero(told)
        columns = (self._column(metric) for metric in metrics)
        ahead = (of if rows.size == self.size else of.at(rows) for of in columns)
        units, clinics = (np.where(there, of, 0).astype(np.int64) for of in (units, clinics))
        return Together(there, units, clinics, told, rows, tuple(ahead))

    def _column(self, metric: str) -> Column:
        """What is ahead of a metric at all places."""
        if metric not in self._columns:
            ahead = Predictions(*(self.figures(metric, of) for of in _AHEAD))
            counts = (self.figures(metric, of) for of in ("at_bound", "units"))
            self._columns[metric] = Column.of(ahead.with_bound(*counts))
        return self._columns[metric]

    def ahead(self, metric: str, rows: NDArray[np.intp]) -> list[str]:
        """The value ahead of a metric and both ends of its interval at some places, as JSON has them."""
        known = self._ahead.setdefault(metric, {})
        new = [row for row in rows.tolist() if row not in known]
        if new:
            of = Predictions(*(self.figures(metric, name)[new] for name in _AHEAD))
            low, high = of.intervals()
            domain = domain_of(metric)
            texts = ahead_texts(of.value, np.maximum(low, domain.low), np.minimum(high, domain.high))
            known.update(zip(new, texts, strict=True))
        return [known[row] for row in rows.tolist()]

    def correlations(self, metrics: Sequence[str]) -> Bound:
        """What tells the correlations of pairs of these metrics, by their places among them, at some rows."""
        column = np.array([[self._pair(one, other) for other in metrics] for one in metrics])
        bound = self._bound

        def of(rows: NDArray[np.intp], one: NDArray[np.intp], other: NDArray[np.intp]) -> Floats:
            return np.asarray(bound[rows, column[one, other][:, None]], float)

        return of

    def marked(self, where: Mapping[str, Any], rig: str | None) -> NDArray[np.bool_]:
        """The places that filters on UnitSummary leave, and whose rig is the one named."""
        kept = np.ones(self.size, bool)
        for name, value in where.items():
            column = _COLUMNS.get(name, name)
            kept &= self._of_programme(value) if column == "programme" else self.column(column) == value
        if rig and rig.strip():
            labels, code = self.rigs
            kept &= np.array([is_rig(label, rig) for label in labels], bool)[code]
        return kept

    @cached_property
    def rigs(self) -> tuple[list[str], NDArray[np.intp]]:
        """The labels of all rigs, and which of them each place has."""
        # Numbers are told apart far quicker than labels.
        _, first, code = np.unique(self.column("rig"), return_index=True, return_inverse=True)
        return self.column("rig_label")[first].tolist(), code

    @cached_property
    def _programmes(self) -> tuple[list[str], NDArray[np.intp]]:
        """All programmes, and which of them each place is of."""
        programmes, code = np.unique(self.column("programme"), return_inverse=True)
        return programmes.tolist(), code

    def _of_programme(self, wanted: str) -> NDArray[np.bool_]:
        programmes, code = self._programmes
        return np.array(are_programme(programmes, wanted), bool)[code]

    @cached_property
    def _metrics(self) -> tuple[str, ...]:
        """All metrics of any model."""
        return tuple(sorted({metric for ahead in self.aheads for metric in ahead.metrics}))

    def _pair(self, one: str, other: str) -> int:
        """The column of two metrics in `_bound`, the last one where they are not known together."""
        if one == other or one not in self._metrics or other not in self._metrics:
            return -1
        return column_of(self._metrics.index(one), self._metrics.index(other), len(self._metrics))

    @cached_property
    def _bound(self) -> NDArray[np.float32]:
        """The correlations of all pairs of metrics, a row a place, and a column of noughts."""
        pairs = [(self._metrics[one], self._metrics[other]) for one, other in pairs_of(len(self._metrics))]
        found = np.zeros((self.size, len(pairs) + 1), np.float32)
        for ahead, start in zip(self.aheads, self._starts, strict=False):
            rows = slice(start, start + len(ahead.places))
            if ahead.metrics == self._metrics:
                found[rows, :-1] = ahead.together
            else:
                found[rows, :-1] = np.stack([ahead.together_of(*pair) for pair in pairs], axis=1)
        return found

    def _joined(self, key: tuple[str, ...], columns: Sequence[NDArray[Any]]) -> NDArray[Any]:
        self._known[key] = joined = np.concatenate(columns) if columns else np.zeros(0)
        return joined
