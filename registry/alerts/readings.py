"""The table the rules look at: unit summaries of units of a known build, read with declared gauges."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from operator import itemgetter
from types import MappingProxyType

import numpy as np
import pandas as pd
from django.db import connection
from django.db.models import Max, Q
from numpy.typing import NDArray

from registry.answers.packing import packed, sizes, unpacked_all
from registry.answers.setting import PLACE
from registry.answers.stamp import current_edition
from registry.answers.summaries import SETTING, summary_frame
from registry.models import Gauge, Unit, UnitSummary
from registry.statistics.pairs import pair_table

# Both rise and fall with a gauge's scale; the residual is too near nought to compare in per cent.
VACUUM = ("peak_vacuum", "mean_vacuum")
METRICS = (*VACUUM, "cycle_rate")
# Below this a vacuum is mostly the gauge's zero, and its logarithm says nothing of its scale.
_LEAST_VACUUM_MMHG = 20.0
# What makes a cell, and what of it is kept; what is kept of each of its rows.
_CELL = ("pump_model", "unit__revision", *PLACE, "metric")
_OF_CELL = MappingProxyType({"pump_model": 0, "revision": 1, "mode": _CELL.index("mode"), "metric": -1})
_WORDS = frozenset({"mode", "metric"})
_OF_ROW = ("unit", "clinic", "gauge", "runs", "mean", "squares", "systematic")
_PAIRED = ["unit", "gauge", "build", "clinic", "settings", "systematic", "apart", "first", "at", "runs"]
# Summaries of losses know when each of their runs was, in order of time; every run counts in one.
_READ = """
SELECT unit_id, gauge_id, extract(epoch FROM min(each_at[1]))::float,
       extract(epoch FROM max(each_at[cardinality(each_at)]))::float, sum(count)
FROM registry_unitsummary
WHERE pump_model_id = ANY(%(models)s) AND edition_id = %(edition)s AND metric = 'loss_rate'
  AND each_at IS NOT NULL AND gauge_id IS NOT NULL
GROUP BY unit_id, gauge_id
"""
# How many units a model has counts for what reading it costs. Models are gone through by index, a step each,
# however much the gauge has read of them.
_SIZES = """
WITH RECURSIVE read AS (
    (SELECT pump_model_id FROM registry_unitsummary WHERE gauge_id = %(gauge)s ORDER BY pump_model_id LIMIT 1)
    UNION ALL
    SELECT (SELECT s.pump_model_id FROM registry_unitsummary s
            WHERE s.gauge_id = %(gauge)s AND s.pump_model_id > read.pump_model_id
            ORDER BY s.pump_model_id LIMIT 1)
    FROM read WHERE read.pump_model_id IS NOT NULL
)
SELECT pump_model_id, (SELECT count(*) FROM registry_unit u WHERE u.pump_model_id = read.pump_model_id)
FROM read WHERE pump_model_id IS NOT NULL
"""
_MOST_UNITS = 400


@dataclass(frozen=True)
class Readings:
    """`table` as `registry.statistics.pairs` takes it, with pump_model, revision, mode, metric, runs, mean
    and squares (sum of squared deviations) besides. `refreshed` is when a summary of each revision was made
    last, not known of a past time. `whole` is what it was narrowed from."""

    table: pd.DataFrame
    edition: int
    gauges_watched: int
    refreshed: Mapping[int, datetime] = field(default_factory=dict)
    whole: "Readings | None" = None

    @cached_property
    def dates(self) -> pd.DataFrame:
        """When units were first and last read with gauges, and in how many accepted runs: asked once.

        By what counts today, also of readings of a past time.
        """
        if self.whole is not None:
            return self.whole.dates
        with connection.cursor() as cursor:
            models = np.unique(self.table["pump_model"]).tolist()
            cursor.execute(_READ, {"models": models, "edition": self.edition})
            read = pd.DataFrame(cursor.fetchall(), columns=["unit", "gauge", "first", "at", "runs"])
        return read.astype({"unit": "int64", "gauge": "int64", "first": float, "at": float, "runs": "int64"})

    def of(self, metrics: Collection[str]) -> pd.DataFrame:
        """The readings of some metrics."""
        return self.table[self.table["metric"].isin(list(metrics))]

    def of_model(self, pump_model: int) -> "Readings":
        """The readings of one pump model. Dates are asked for once, of the whole."""
        mine = self.table[self.table["pump_model"] == pump_model].reset_index(drop=True)
        return replace(self, table=mine, whole=self)


def readings(
    pump_models: Collection[int] | None = None,
    *,
    vacuum_of: Collection[int] = (),
    edition: int | None = None,
    moment: datetime | None = None,
) -> Readings:
    """Read the summaries of the given pump models, or of all: three queries.

    Of further models, `vacuum_of`, only what tells of gauges is read. `edition` is the current one unless
    said; with `moment`, all are read as they were at that past time.
    """
    edition = current_edition() if edition is None else edition
    if moment is not None:
        return _readings(_past(edition, moment), edition, {})
    where = Q(metric__in=METRICS)
    if pump_models is not None:
        where &= Q(pump_model__in=pump_models)
        where |= Q(pump_model__in=vacuum_of, metric__in=VACUUM)
        # Implied, and said so that the database need not read the units of all models.
        where &= Q(unit__pump_model__in=[*pump_models, *vacuum_of])
    table, refreshed = _present(where, edition)
    return _readings(table, edition, refreshed)


def _readings(table: pd.DataFrame, edition: int, refreshed: Mapping[int, datetime]) -> Readings:
    least = np.where(table["metric"].isin(VACUUM), _LEAST_VACUUM_MMHG, 0.0)
    told = table["mean"].to_numpy(float) > least
    table = table if told.all() else table[told].reset_index(drop=True)
    mean = table["mean"].to_numpy(float)
    table = table.assign(
        build=table["revision"],
        log=np.log(mean),
        systematic=table["systematic"].to_numpy(float) / mean,
    )
    return Readings(table, edition, Gauge.objects.count(), refreshed)


def _present(where: Q, edition: int) -> tuple[pd.DataFrame, dict[int, datetime]]:
    """The summaries that match, a row a unit, gauge and cell; the database packs each cell into one row.

    With when a summary of each revision was made last.
    """
    columns = packed(_OF_ROW)
    found = (
        UnitSummary.objects.filter(where, edition=edition, gauge__isnull=False, unit__revision__isnull=False)
        .order_by()
        .values(*_CELL)
        .annotate(**columns, refreshed=Max("refreshed_at"))
        .values_list(*_CELL, *columns, "refreshed")
    )
    *cells, refreshed = list(zip(*found, strict=True)) or [()] * (len(_CELL) + len(columns) + 1)
    packs = dict(zip(_OF_ROW, cells[len(_CELL) :], strict=True))
    of_cell = {name: cells[: len(_CELL)][place] for name, place in _OF_CELL.items()}
    cell = np.repeat(np.arange(len(cells[0])), sizes(packs["unit"]))
    table = pd.DataFrame(
        {
            "cell": cell,
            **{name: pd.Categorical(of_cell[name]).take(cell) for name in _WORDS},
            **{name: np.array(of_cell[name], "int64")[cell] for name in of_cell.keys() - _WORDS},
            **{name: unpacked_all(name, groups) for name, groups in packs.items()},
        }
    )
    # In order of time, so that the last of each revision stays.
    return table, dict(sorted(zip(of_cell["revision"], refreshed, strict=True), key=itemgetter(1)))


def _past(edition: int, moment: datetime) -> pd.DataFrame:
    """What `_present` returns, of all models, as it was at a past time."""
    frame = summary_frame(
        moment, edition=edition, metric__in=METRICS, gauge__isnull=False, unit__revision__isnull=False
    )
    cell = frame.groupby(["revision", *SETTING], sort=False, observed=True).ngroup()
    return frame.assign(cell=cell)[["cell", *_OF_CELL, *_OF_ROW]]


def dated_pairs(seen: Readings, metrics: Collection[str]) -> pd.DataFrame:
    """Return `pair_table` of some metrics with `runs` and `at` besides: one query more, the first time.

    `runs` is how many accepted runs of a unit a gauge read, `first` and `at` when it was first and last
    read with it, in seconds. No run counts as later than it was uploaded, whatever a logger's clock said.
    """
    table = seen.of(metrics)
    if not len(table):
        return pd.DataFrame(columns=_PAIRED)
    # Units differ by as many mmHg at all settings, so the higher ones tell more of a scale.
    by_level = set(metrics) <= set(VACUUM)
    pairs, read = pair_table(table, by_level=by_level), seen.dates
    place = places(read, pairs)
    # What is not known takes the place -1: the last, put behind all others.
    return pairs.assign(
        **{
            name: np.append(read[name], other)[place]
            for name, other in (("first", 0.0), ("at", 0.0), ("runs", 1))
        }
    )


def places(read: pd.DataFrame, pairs: pd.DataFrame) -> NDArray[np.intp]:
    """Where the unit and gauge of each row of `pairs` stand in `read`; -1 where they do not."""
    width = 1 + max((int(table["gauge"].max()) for table in (read, pairs) if len(table)), default=0)
    known, asked = (table["unit"].to_numpy() * width + table["gauge"].to_numpy() for table in (read, pairs))
    if not known.size:
        return np.full(asked.size, -1)
    order = np.argsort(known)
    place = order[np.minimum(np.searchsorted(known, asked, sorter=order), known.size - 1)]
    return np.where(known[place] == asked, place, -1)


def models_beside(pump_model: int, gauge: int | None) -> list[int]:
    """Other models that the gauge of new runs of a pump model read, those with the fewest units first.

    No more than a check has time for: the others wait for the nightly scan, which takes in all. One query.
    """
    if gauge is None:
        return []
    with connection.cursor() as cursor:
        cursor.execute(_SIZES, {"gauge": gauge})
        found = dict(cursor.fetchall())
    chosen, units = [], found.pop(pump_model, 0)
    for model, size in sorted(found.items(), key=lambda item: (item[1], item[0])):
        units += size
        if units > _MOST_UNITS:
            break
        chosen.append(model)
    return chosen


def unit_names(units: Collection[int]) -> Mapping[int, tuple[str, str]]:
    """Pump model and serial of each unit."""
    found = Unit.objects.filter(pk__in=units).values_list("pk", "pump_model__name", "serial")
    return {pk: (name, serial) for pk, name, serial in found}
