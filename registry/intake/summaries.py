"""Unit summaries: made again from the measurements of one cell, in the transaction that changed it."""

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
EACH_AT, EACH_VALUE = (
    f"array_agg({of_run} ORDER BY {_AT}, r.id) FILTER (WHERE m.metric = 'loss_rate')"
    for of_run in (_AT, "m.value")
)
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
    SELECT r.pump_model_id, m.edition_id, m.metric, min(m.unit) AS metric_unit, count(*) AS count,
           avg(m.value) AS mean, var_pop(m.value) * count(*) AS sum_squares,
           sqrt(avg(m.u_random ^ 2)) AS u_random, sqrt(avg(m.u_systematic ^ 2)) AS u_systematic,
           {EACH_AT} AS each_at, {EACH_VALUE} AS each_value
    FROM cell r JOIN registry_measurement m ON m.run_id = r.id
    GROUP BY r.pump_model_id, m.edition_id, m.metric
), gone AS (
    DELETE FROM registry_unitsummary WHERE {_OF_CELL}
      AND (edition_id, metric) NOT IN (SELECT edition_id, metric FROM made)
)
INSERT INTO registry_unitsummary ({", ".join(_CELL)}, pump_model_id, edition_id, metric, metric_unit,
                                  count, mean, sum_squares, u_random, u_systematic, each_at, each_value,
                                  refreshed_at)
SELECT {", ".join(f"%({name})s" for name in _CELL)}, made.*, now() FROM made
ON CONFLICT ({", ".join(_CELL)}, edition_id, metric) DO UPDATE SET
    count = excluded.count, mean = excluded.mean, sum_squares = excluded.sum_squares,
    u_random = excluded.u_random, u_systematic = excluded.u_systematic,
    each_at = excluded.each_at, each_value = excluded.each_value, refreshed_at = excluded.refreshed_at
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
