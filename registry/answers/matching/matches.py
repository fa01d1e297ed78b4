"""Which of many settings meet a need, and how likely: all of them at once, rows of documents of the best."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from registry.answers.matching.ahead_table import Table
from registry.answers.places import UNTOLD, lacking
from registry.answers.wording import figure
from registry.statistics.domains import domain_of
from registry.statistics.matching import Need, Predictions, Rows, chances_alone, likeliest, within
from registry.statistics.precision import ENOUGH_CLINICS, ENOUGH_UNITS
from registry.statistics.robust import Floats


@dataclass(frozen=True)
class Matches:
    """Places by how likely they meet the needs: the likeliest first, those too thin to tell after them.

    `units` and `clinics` are those of the metric that has fewest, an entry a row of the table in `order`.
    `told` places have a probability; `likely` of them are likely.
    """

    table: Table
    needs: Mapping[str, Need]
    order: Rows
    probability: Floats
    units: NDArray[np.int64]
    clinics: NDArray[np.int64]
    told: int
    likely: int

    @property
    def size(self) -> int:
        """How many places there are."""
        return int(self.order.size)

    @cached_property
    def _possible(self) -> dict[str, Need]:
        return {metric: within(need, domain_of(metric)) for metric, need in self.needs.items()}

    def rows(self, most: int) -> list[dict[str, Any]]:
        """Rows of the document, so many at most."""
        told = min(self.told, most)
        alone = list(self._alone(self.order[:told])) + list(self._thin(self.order[told:most]))
        return [self._row(at, metrics) for at, metrics in enumerate(alone)]

    def _row(self, at: int, metrics: dict[str, Any]) -> dict[str, Any]:
        thin = at >= self.told
        units, clinics = int(self.units[at]), int(self.clinics[at])
        return {
            **self.table.named(int(self.order[at])).shown(),
            "units": units,
            "clinics": clinics,
            "state": "thin" if thin else "ok",
            "missing": (lacking(units, clinics) or UNTOLD) if thin else "",
            "probability": None if thin else float(self.probability[at]),
            "distance": None,
            "within": None,
            "metrics": metrics,
        }

    def _alone(self, rows: Rows) -> Sequence[dict[str, Any]]:
        """Each metric by itself, at places that carry it."""
        ahead = _ahead(self.table, list(self.needs), rows)
        domains = [domain_of(metric) for metric in self.needs]
        low, high = ahead.intervals()
        low = np.maximum(low, [domain.low for domain in domains])
        high = np.minimum(high, [domain.high for domain in domains])
        chances = chances_alone(ahead, list(self._possible.values()))
        figures = np.stack([ahead.value, low, high, chances], axis=2).tolist()
        return [
            {metric: _figures(*of) for metric, of in zip(self.needs, row, strict=True)} for row in figures
        ]

    def _thin(self, rows: Rows) -> Sequence[dict[str, Any]]:
        """Places that are too thin have the mean of what was read, and nothing else."""
        means = np.stack([self.table.figures(metric, "mean")[rows] for metric in self.needs], axis=1).tolist()
        return [
            {metric: _figures(mean) for metric, mean in zip(self.needs, row, strict=True)} for row in means
        ]


def _figures(
    centre: float, low: float | None = None, high: float | None = None, probability: float | None = None
) -> dict[str, float | None]:
    return {
        "centre": figure(centre),
        "predict_low": figure(low),
        "predict_high": figure(high),
        "probability": figure(probability),
    }


def measured(table: Table, metrics: Sequence[str]) -> NDArray[np.bool_]:
    """The places at which all the metrics were measured."""
    found = np.ones(table.size, bool)
    for metric in metrics:
        found &= ~np.isnan(table.figures(metric, "units"))
    return found


def match(table: Table, rows: Rows, needs: Mapping[str, Need], *, most: int, telling: float) -> Matches:
    """Order places by how likely one run of the next unit at the next clinic meets all needs at once.

    The `most` likeliest are in their order; the others follow, by chances that are rough. How many are
    `telling` or likelier is counted over all. A chance is told to six decimals. Below three units from two
    clinics, or where nothing tells how much units scatter, there is none.
    """
    metrics = list(needs)
    units, clinics = (
        np.min([table.figures(metric, name)[rows] for metric in metrics], axis=0).astype(np.int64)
        for name in ("units", "clinics")
    )
    ahead = _ahead(table, metrics, rows)
    told = (units >= ENOUGH_UNITS) & (clinics >= ENOUGH_CLINICS) & ~np.isnan(ahead.value).any(axis=1)
    which = np.flatnonzero(told)
    possible = [within(need, domain_of(metric)) for metric, need in needs.items()]
    chances, worked_out = likeliest(
        ahead.at(which), possible, lambda some: table.together(metrics, rows[which[some]]), most
    )
    # Places stand in the order of their names, which holds where chances are alike.
    best = np.lexsort((-chances, ~worked_out))
    order = np.concatenate([which[best], np.flatnonzero(~told)])
    return Matches(
        table,
        needs,
        rows[order],
        chances[best],
        units[order],
        clinics[order],
        int(which.size),
        int(np.count_nonzero(chances >= telling)),
    )


def _ahead(table: Table, metrics: Sequence[str], rows: Rows) -> Predictions:
    return Predictions(
        *(
            np.stack([table.figures(metric, name)[rows] for metric in metrics], axis=1)
            for name in ("value", "error", "freedom")
        )
    )
