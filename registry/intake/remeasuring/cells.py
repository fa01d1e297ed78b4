"""The summaries of many cells in one statement."""

from collections.abc import Collection

from django.db import connection

from registry.intake.summaries import FIGURES, MADE, RENEWED

# The same figures that `summaries` makes of one cell under all editions, for many cells under one.
_CELLS = f"""
WITH cell AS (
    SELECT DISTINCT r.pump_model_id, r.unit_id, r.clinic_id, s.gauge_id, r.rig_id, s.power, s.elevation,
           r.mode, r.programme, r.level, r.side
    FROM registry_run r JOIN registry_benchsession s ON s.id = r.session_id WHERE r.id = ANY(%(runs)s)
)
INSERT INTO registry_unitsummary (pump_model_id, unit_id, clinic_id, gauge_id, rig_id, power, elevation, mode,
                                  programme, level, side, edition_id, metric, {FIGURES})
SELECT c.*, m.edition_id, m.metric, {MADE}
FROM cell c
JOIN registry_run r ON r.unit_id = c.unit_id AND r.state = 'accepted'
 AND (r.clinic_id, r.rig_id, r.mode, r.programme, r.level, r.side)
   = (c.clinic_id, c.rig_id, c.mode, c.programme, c.level, c.side)
JOIN registry_benchsession s ON s.id = r.session_id AND s.power = c.power
 AND s.elevation = c.elevation
 AND s.gauge_id IS NOT DISTINCT FROM c.gauge_id
JOIN registry_measurement m ON m.run_id = r.id AND m.edition_id = %(edition)s
GROUP BY c.pump_model_id, c.unit_id, c.clinic_id, c.gauge_id, c.rig_id, c.power, c.elevation, c.mode,
         c.programme, c.level, c.side, m.edition_id, m.metric
ON CONFLICT (unit_id, clinic_id, gauge_id, rig_id, power, elevation, mode, programme, level, side, edition_id,
             metric)
DO UPDATE SET {RENEWED}
"""  # noqa: S608 - put together from constants; all values are parameters


def fill_cells(edition: int, runs: Collection[int]) -> None:
    """Bring the summaries of one edition up to date in every cell that holds one of the runs.

    For an edition whose measurements only come and never go; the caller holds the locks of the runs' units.
    """
    with connection.cursor() as cursor:
        cursor.execute(_CELLS, {"edition": edition, "runs": list(runs)})
