"""Unit summaries: made again from the measurements of one cell, in the transaction that changed it."""

from django.db import connection

from registry.models import Run

# A cell holds the few runs of one unit at one setting by one clinic and gauge, so making it again costs
# little and can neither drift nor count a run twice. The unit's row lock orders those who write.
_CELL = """
    unit_id, clinic_id, gauge_id, rig_id, power, mode, programme, level, side, edition_id, metric
"""
_REFRESH = f"""
WITH cell AS (
    SELECT r.id, r.pump_model_id, r.unit_id, r.clinic_id, s.gauge_id, r.rig_id, s.power, r.mode,
           r.programme, r.level, r.side
    FROM registry_run r JOIN registry_benchsession s ON s.id = r.session_id
    WHERE r.unit_id = %(unit)s AND r.clinic_id = %(clinic)s AND s.gauge_id IS NOT DISTINCT FROM %(gauge)s
      AND r.rig_id = %(rig)s AND s.power = %(power)s AND r.mode = %(mode)s
      AND r.programme = %(programme)s AND r.level = %(level)s AND r.side = %(side)s
      AND r.state = 'accepted'
), gone AS (
    DELETE FROM registry_unitsummary
    WHERE unit_id = %(unit)s AND clinic_id = %(clinic)s AND gauge_id IS NOT DISTINCT FROM %(gauge)s
      AND rig_id = %(rig)s AND power = %(power)s AND mode = %(mode)s
      AND programme = %(programme)s AND level = %(level)s AND side = %(side)s
      AND NOT EXISTS (SELECT 1 FROM cell)
)
INSERT INTO registry_unitsummary (pump_model_id, {_CELL}, metric_unit, count, mean, sum_squares,
                                  u_random, u_systematic, refreshed_at)
SELECT c.pump_model_id, {", ".join(f"c.{name.strip()}" for name in _CELL.split(",")[:9])},
       m.edition_id, m.metric, min(m.unit), count(*), avg(m.value), var_pop(m.value) * count(*),
       sqrt(avg(m.u_random ^ 2)), sqrt(avg(m.u_systematic ^ 2)), now()
FROM cell c JOIN registry_measurement m ON m.run_id = c.id
GROUP BY c.pump_model_id, {", ".join(f"c.{name.strip()}" for name in _CELL.split(",")[:9])},
         m.edition_id, m.metric
ON CONFLICT ({_CELL}) DO UPDATE SET
    count = excluded.count, mean = excluded.mean, sum_squares = excluded.sum_squares,
    u_random = excluded.u_random, u_systematic = excluded.u_systematic, refreshed_at = excluded.refreshed_at
"""  # noqa: S608 - the names put together here are the constants above; all values are parameters


def refresh_summaries(run: Run) -> None:
    """Bring the summaries of the run's cell up to date. The caller holds the lock on the run's unit."""
    cell = {
        "unit": run.unit_id,
        "clinic": run.clinic_id,
        "gauge": run.session.gauge_id,
        "rig": run.rig_id,
        "power": run.session.power,
        "mode": run.mode,
        "programme": run.programme,
        "level": run.level,
        "side": run.side,
    }
    with connection.cursor() as cursor:
        cursor.execute(_REFRESH, cell)
