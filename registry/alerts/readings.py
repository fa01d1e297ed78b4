"""The table the rules look at: unit summaries of units of a known build, read with declared gauges."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from registry.answers.stamp import current_edition
from registry.answers.summaries import SETTING, summary_frame
from registry.models import Gauge, Unit, UnitSummary

# Both rise and fall with a gauge's scale; the residual is too near nought to compare in per cent.
VACUUM = ("peak_vacuum", "mean_vacuum")
METRICS = (*VACUUM, "cycle_rate")
# Below this a vacuum is mostly the gauge's zero, and its logarithm says nothing of its scale.
_LEAST_VACUUM_MMHG = 20.0


@dataclass(frozen=True)
class Readings:
    """`table` as `registry.statistics.pairs` takes it, with `metric` and `pump_model` besides; see there."""

    table: pd.DataFrame
    edition: int
    gauges_watched: int

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


def pump_models_read_by(gauge_id: int) -> list[int]:
    """The pump models a gauge has read."""
    read = UnitSummary.objects.filter(gauge=gauge_id).order_by("pump_model_id")
    return list(read.values_list("pump_model_id", flat=True).distinct())


def gauge_names(gauges: Collection[int]) -> dict[int, str]:
    """CLINIC/CODE of each gauge."""
    found = Gauge.objects.filter(pk__in=gauges).values_list("pk", "clinic__code", "code")
    return {pk: f"{clinic}/{code}" for pk, clinic, code in found}


def unit_names(units: Collection[int]) -> Mapping[int, tuple[str, str]]:
    """Pump model and serial of each unit."""
    found = Unit.objects.filter(pk__in=units).values_list("pk", "pump_model__name", "serial")
    return {pk: (name, serial) for pk, name, serial in found}
