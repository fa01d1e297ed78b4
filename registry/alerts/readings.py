"""The table the rules look at: unit summaries of units of a known build, read with declared gauges."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
from django.db import connection

from registry.answers.stamp import current_edition
from registry.answers.summaries import SETTING, summary_frame
from registry.models import Gauge, Unit
from registry.statistics.pairs import pair_table

# Both rise and fall with a gauge's scale; the residual is too near nought to compare in per cent.
VACUUM = ("peak_vacuum", "mean_vacuum")
METRICS = (*VACUUM, "cycle_rate")
# Below this a vacuum is mostly the gauge's zero, and its logarithm says nothing of its scale.
_LEAST_VACUUM_MMHG = 20.0
_PAIRED = ["unit", "gauge", "build", "clinic", "settings", "systematic", "apart", "first", "at", "runs"]
# No run counts as earlier than it could be: what a logger's clock said of the future is cut at the upload.
_READ = """
SELECT r.unit_id, s.gauge_id, extract(epoch FROM min(least(r.recorded_at, r.created_at)))::float,
       extract(epoch FROM max(least(r.recorded_at, r.created_at)))::float, count(*)
FROM registry_run r JOIN registry_benchsession s ON s.id = r.session_id
WHERE r.pump_model_id = ANY(%(models)s) AND r.state = 'accepted' AND s.gauge_id IS NOT NULL
GROUP BY r.unit_id, s.gauge_id
"""
# How many units a model has counts for what reading it costs.
_SIZES = """
SELECT s.pump_model_id, (SELECT count(*) FROM registry_unit u WHERE u.pump_model_id = s.pump_model_id)
FROM (SELECT DISTINCT pump_model_id FROM registry_unitsummary WHERE gauge_id = %(gauge)s) s
"""
_MOST_UNITS = 400


@dataclass(frozen=True)
class Readings:
    """`table` as `registry.statistics.pairs` takes it, with `metric` and `pump_model` besides; see there."""

    table: pd.DataFrame
    edition: int
    gauges_watched: int

    @cached_property
    def dates(self) -> pd.DataFrame:
        """When units were first and last read with gauges, and in how many accepted runs: asked once."""
        with connection.cursor() as cursor:
            cursor.execute(_READ, {"models": np.unique(self.table["pump_model"]).tolist()})
            read = pd.DataFrame(cursor.fetchall(), columns=["unit", "gauge", "first", "at", "runs"])
        return read.astype({"unit": "int64", "gauge": "int64", "first": float, "at": float, "runs": "int64"})

    def of(self, metrics: Collection[str]) -> pd.DataFrame:
        """The readings of some metrics."""
        return self.table[self.table["metric"].isin(list(metrics))]


def readings(
    pump_models: Collection[int] | None = None,
    *,
    edition: int | None = None,
    moment: datetime | None = None,
) -> Readings:
    """Read the summaries of the given pump models, or of all: three queries.

    `edition` is the current one unless said; with `moment`, they are read as they were at that past time.
    """
    edition = current_edition() if edition is None else edition
    where: dict[str, Any] = {} if pump_models is None else {"pump_model__in": list(pump_models)}
    frame = summary_frame(
        moment,
        edition=edition,
        metric__in=METRICS,
        gauge__isnull=False,
        unit__revision__isnull=False,
        **where,
    )
    least = np.where(frame["metric"].isin(VACUUM), _LEAST_VACUUM_MMHG, 0.0)
    table = frame[frame["mean"] > least].reset_index(drop=True)
    table = table.assign(
        cell=table.groupby(["revision", *SETTING], sort=False, observed=True).ngroup(),
        build=table["revision"],
        log=np.log(table["mean"]),
        systematic=table["systematic"] / table["mean"],
    )
    return Readings(table, edition, Gauge.objects.count())


def dated_pairs(seen: Readings, metrics: Collection[str]) -> pd.DataFrame:
    """Return `pair_table` of some metrics with `runs` and `at` besides: one query more, the first time.

    `runs` is how many accepted runs of a unit a gauge read, `first` and `at` when it was first and last
    read with it, in seconds. No run counts as later than it was uploaded, whatever a logger's clock said.
    """
    table = seen.of(metrics)
    if not len(table):
        return pd.DataFrame(columns=_PAIRED)
    pairs, read = pair_table(table), seen.dates
    known = pd.MultiIndex.from_arrays([read["unit"], read["gauge"]])
    place = known.get_indexer(pd.MultiIndex.from_arrays([pairs["unit"], pairs["gauge"]]))
    # What is not known takes the place -1: the last, put behind all others.
    return pairs.assign(
        **{
            name: np.append(read[name], other)[place]
            for name, other in (("first", 0.0), ("at", 0.0), ("runs", 1))
        }
    )


def models_to_check(pump_model: int, gauge: int | None) -> list[int]:
    """The pump model of new runs, and others that their gauge read, those with the fewest units first.

    No more than a check has time for: the others wait for the nightly scan, which takes in all. One query.
    """
    if gauge is None:
        return [pump_model]
    with connection.cursor() as cursor:
        cursor.execute(_SIZES, {"gauge": gauge})
        sizes = dict(cursor.fetchall())
    chosen, units = [pump_model], sizes.pop(pump_model, 0)
    for model, size in sorted(sizes.items(), key=lambda item: (item[1], item[0])):
        units += size
        if units > _MOST_UNITS:
            break
        chosen.append(model)
    return chosen


def unit_names(units: Collection[int]) -> Mapping[int, tuple[str, str]]:
    """Pump model and serial of each unit."""
    found = Unit.objects.filter(pk__in=units).values_list("pk", "pump_model__name", "serial")
    return {pk: (name, serial) for pk, name, serial in found}
