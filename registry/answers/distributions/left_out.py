"""What an answer left out, and why."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from django.db import connection

from registry.answers.cells import Narrowed
from registry.models import RunState


class Left(NamedTuple):
    """Runs in one place that do not count: how many are in a state or, with a `code`, are held by that."""

    code: str
    state: str
    revision: int | None
    mode: str
    programme: str
    level: str
    rig: int
    power: str
    elevation: str
    runs: int


# Runs within a question; the states, and for what is held what holds it.
_RUNS = """
WITH asked AS (
    SELECT run.id, {state} AS state, unit.revision_id, run.mode, run.programme, run.level, run.rig_id,
           session.power, session.elevation
    FROM registry_run run
    JOIN registry_unit unit ON unit.id = run.unit_id
    JOIN registry_benchsession session ON session.id = run.session_id
    WHERE {where}
)
SELECT '', state, revision_id, mode, programme, level, rig_id, power, elevation, count(*)
FROM asked WHERE state <> 'accepted'
GROUP BY state, revision_id, mode, programme, level, rig_id, power, elevation
"""
_HELD_BY = """
UNION ALL
SELECT code, state, revision_id, mode, programme, level, rig_id, power, elevation, count(DISTINCT asked.id)
FROM asked JOIN registry_finding finding
    ON finding.run_id = asked.id AND finding.edition_id = %(edition)s AND finding.severity = 'hold'
WHERE state = 'held'
GROUP BY code, state, revision_id, mode, programme, level, rig_id, power, elevation
"""
_STATE_THEN = """coalesce((
    SELECT was.state FROM registry_runwas was
    WHERE was.pgh_obj_id = run.id AND was.pgh_created_at > %(moment)s ORDER BY was.pgh_id LIMIT 1
), run.state)"""


def left(narrowed: Narrowed, moment: datetime | None) -> list[Left]:
    """Return the runs held and withdrawn within a question, by place and code: one query.

    By code of now alone: findings are judged again, and what they were is not kept. Units are of the
    revision they have today.
    """
    where, values = narrowed.in_sql("run", "session", "unit")
    where.append("run.state <> 'accepted'" if moment is None else "run.created_at <= %(moment)s")
    state = "run.state" if moment is None else _STATE_THEN
    statement = _RUNS.format(state=state, where=" AND ".join(where)) + ("" if moment else _HELD_BY)
    with connection.cursor() as cursor:
        cursor.execute(statement, {**values, "moment": moment})
        return [Left(*row) for row in cursor.fetchall()]


def left_out(rows: Iterable[Left], unknown: dict[str, int], moment: datetime | None) -> dict[str, Any]:
    """Return runs held and withdrawn, why they are held, and what has no revision.

    `unknown` counts the runs and units whose revision is not known, where a revision was asked for.
    `held_for` counts runs by the code of the finding that holds them and is None for a past time. Why runs
    were withdrawn is in people's own words and not told here.
    """
    states: Counter[str] = Counter()
    codes: Counter[str] = Counter()
    for row in rows:
        if not row.code:
            states[row.state] += row.runs
        else:
            codes[row.code] += row.runs
    return {
        "held": states[RunState.HELD],
        "withdrawn": states[RunState.WITHDRAWN],
        "held_for": None if moment else dict(sorted(codes.items(), key=lambda pair: (-pair[1], pair[0]))),
        "unknown_revision": unknown,
    }
