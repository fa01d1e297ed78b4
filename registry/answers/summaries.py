"""Read unit summaries into a table. Answers and alert rules start here and never touch a trace or a run."""

from typing import Any

import pandas as pd

from registry.models import UnitSummary

SETTING = ("mode", "programme", "level", "side", "rig", "power", "metric")
_COLUMNS = {
    "pump_model_id": "pump_model",
    "unit__revision_id": "revision",
    "unit_id": "unit",
    "clinic_id": "clinic",
    "gauge_id": "gauge",
    "rig_id": "rig",
    "power": "power",
    "mode": "mode",
    "programme": "programme",
    "level": "level",
    "side": "side",
    "metric": "metric",
    "metric_unit": "metric_unit",
    "count": "runs",
    "mean": "mean",
    "sum_squares": "squares",
    "u_random": "random",
    "u_systematic": "systematic",
}


def summary_frame(**where: Any) -> pd.DataFrame:
    """Return the summaries that match, one row a unit, clinic, gauge and setting: one query.

    `where` are filters on UnitSummary and must name the edition. Columns: pump_model, revision (-1 when
    unresolved), unit, clinic, gauge (-1 when undeclared) and rig as keys; power, mode, programme, level,
    side, metric, metric_unit; runs, mean, squares (sum of squared deviations), random and systematic
    (standard uncertainties of one run).
    """
    rows = UnitSummary.objects.filter(**where).values_list(*_COLUMNS)
    frame = pd.DataFrame.from_records(list(rows), columns=list(_COLUMNS.values()))
    keys = ["revision", "gauge"]
    frame[keys] = frame[keys].astype("Int64").fillna(-1).astype("int64")
    return frame


def by_unit_and_clinic(frame: pd.DataFrame) -> pd.DataFrame:
    """Merge the rows of one unit at one clinic and setting, however many gauges read them.

    The mean is over runs; squares stay those within each gauge, with their degrees of freedom in `freedom`,
    so that a difference between gauges never passes for repeatability.
    """
    keys = ["pump_model", "revision", *SETTING, "metric_unit", "unit", "clinic"]
    weighed = frame.assign(
        mean=frame["mean"] * frame["runs"],
        random=frame["random"] ** 2 * frame["runs"],
        systematic=frame["systematic"] ** 2 * frame["runs"],
        freedom=frame["runs"] - 1,
    )
    figures = ["runs", "mean", "squares", "random", "systematic", "freedom"]
    merged = weighed.groupby(keys, sort=False, observed=True)[figures].sum().reset_index()
    merged["mean"] /= merged["runs"]
    for name in ("random", "systematic"):
        merged[name] = (merged[name] / merged["runs"]) ** 0.5
    return merged
