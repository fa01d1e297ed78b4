"""Read unit summaries into a table. Answers and alert rules start here and never touch a trace or a run."""

from datetime import datetime
from typing import Any

import pandas as pd

from registry.answers.past import rows_at
from registry.answers.setting import OF_SUMMARY, PLACE
from registry.models import UnitSummary

SETTING = (*PLACE, "metric")
_COLUMNS = {
    "pump_model_id": "pump_model",
    "unit__revision_id": "revision",
    "unit_id": "unit",
    "clinic_id": "clinic",
    "gauge_id": "gauge",
    **OF_SUMMARY,
    "count": "runs",
    "mean": "mean",
    "sum_squares": "squares",
    "u_random": "random",
    "u_systematic": "systematic",
}


def summary_frame(moment: datetime | None = None, **where: Any) -> pd.DataFrame:
    """Return the summaries that match, one row a unit, clinic, gauge and setting: one query.

    With `moment`, as they were at that past time (see `past.rows_at`: slower, two queries). `where` are
    filters on UnitSummary and must name the edition. Columns: pump_model, revision (-1 when unresolved),
    unit, clinic, gauge (-1 when undeclared) and rig as keys; power, elevation, mode, programme, level, side,
    metric, metric_unit; runs, mean, squares (sum of squared deviations), random and systematic (standard
    uncertainties of one run).
    """
    columns = list(_COLUMNS.values())
    if moment is None:
        rows = list(UnitSummary.objects.filter(**where).values_list(*_COLUMNS))
    else:
        rows = [tuple(row[name] for name in columns) for row in rows_at(moment, where)]
    frame = pd.DataFrame.from_records(rows, columns=columns)
    keys = ["revision", "gauge"]
    frame[keys] = frame[keys].astype("Int64").fillna(-1).astype("int64")
    return frame
