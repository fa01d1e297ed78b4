"""Unit summaries: made again from the measurements of one cell, in the transaction that changed it."""

from types import MappingProxyType

from django.db import connection

from registry.models import Run

# A cell holds the few runs of one unit at one setting by one clinic and gauge, so making it again costs
# little and can neither drift nor count a run twice. The unit's row lock orders those who write.
_CELL = (
    "unit_id", "clinic_id", "gauge_id", "rig_id", "power", "elevation", "mode", "programme", "level", "side",
)  # fmt: skip
# Of losses every run is kept, since they are judged by their course over time. No run counts as later than
# it can be: what a logger's clock said of the future is cut at the upload.
_AT = "least(r.recorded_at, r.created_at)"
_OF_LOSSES = "FILTER (WHERE m.metric = 'loss_rate')"
_FIGURES = MappingProxyType(
    {
        "metric_unit": "min(m.unit)",
        "count": "count(*)",
        "mean": "avg(m.value)",
        "sum_squares": "var_pop(m.value) * count(*)",
        "u_random": "sqrt(avg(m.u_random ^ 2))",
        "u_systematic": "sqrt(avg(m.u_systematic ^ 2))",
        "each_at": f"array_agg({_AT} ORDER BY {_AT}, r.id) {_OF_LOSSES}",
        "each_value": f"array_agg(m.value ORDER BY {_AT}, r.id) {_OF_LOSSES}",
        "refreshed_at": "now()",
    }
)
# The figures of a cell, what they are made by of runs `r` and measurements `m`, and how they renew a summary.
FIGURES = ", ".join(_FIGURES)
MADE = ", ".join(f"{by} AS {name}" for name, by in _FIGURES.items())
RENEWED = ", ".join(f"{name} = excluded.{name}" for name in _FIGURES)
# Only a gauge may be unknown. What is compared as if all might be is looked for in no index.
_OF_CELL = " AND ".join(
    f"{name} {'IS NOT DISTINCT FROM' if name == 'gauge_id' else '='} %({name})s" for name in _CELL
)
_REFRESH = f"""
WITH cell AS (
    SELECT r.id, r.pump_model_id, r.recorded_at, r.created_at
    FROM registry_run r JOIN registry_benchsession s ON s.id = r.session_id
    WHERE r.unit_id = %(unit_id)s AND r.state = 'accepted'
      AND (r.clinic_id, r.rig_id, s.power, s.elevation, r.mode, r.programme, r.level, r.side)
        = (%(clinic_id)s, %(rig_id)s, %(power)s, %(elevation)s, %(mode)s, %(programme)s, %(level)s, %(side)s)
      AND s.gauge_id IS NOT DISTINCT FROM %(gauge_id)s
), made AS (
    SELECT r.pump_model_id, m.edition_id, m.metric, {MADE}
    FROM cell r JOIN registry_measurement m ON m.run_id = r.id
    GROUP BY r.pump_model_id, m.edition_id, m.metric
), gone AS (
    DELETE FROM registry_unitsummary WHERE {_OF_CELL}
      AND (edition_id, metric) NOT IN (SELECT edition_id, metric FROM made)
)
INSERT INTO registry_unitsummary ({", ".join(_CELL)}, pump_model_id, edition_id, metric, {FIGURES})
SELECT {", ".join(f"%({name})s" for name in _CELL)}, made.* FROM made
ON CONFLICT ({", ".join(_CELL)}, edition_id, metric) DO UPDATE SET {RENEWED}
"""  # noqa: S608 - the names put together here are the constants above; all values are parameters


def refresh_summaries(run: Run) -> None:
    """Bring the summaries of the run's cell up to date. The caller holds the lock on the run's unit."""
    cell = {
        "unit_id": run.unit_id,
        "clinic_id": run.clinic_id,
        "gauge_id": run.session.gauge_id,
        "rig_id": run.rig_id,
        "power": run.session.power,
        "elevation": run.session.elevation,
        "mode": run.mode,
        "programme": run.programme,
        "level": run.level,
        "side": run.side,
    }
    with connection.cursor() as cursor:
        cursor.execute(_REFRESH, cell)
