"""What another edition would change: which metrics move and by how much, which runs are held or set free."""

from dataclasses import asdict, dataclass
from typing import Any

from django.db import connection
from django.db.models import Count

from registry.answers.stamp import current_edition
from registry.errors import Conflict
from registry.intake.findings import INTAKE_CODES
from registry.intake.remeasuring.portions import left_under
from registry.models import Run, RunEdition, RunState

# Runs that have a row under both editions and are not withdrawn. Less than a part in a milliard is rounding.
_BOTH = """
both_done AS (
    SELECT r.id, o.holds AS held_before, n.holds AS held_after
    FROM registry_run r
    JOIN registry_runedition o ON o.run_id = r.id AND o.edition_id = %(old)s
    JOIN registry_runedition n ON n.run_id = r.id AND n.edition_id = %(new)s
    WHERE r.state <> 'withdrawn'
)
"""
_METRICS = f"""
WITH {_BOTH}, pair AS (
    SELECT coalesce(o.metric, n.metric) AS metric, coalesce(n.unit, o.unit) AS unit,
           coalesce(o.run_id, n.run_id) AS run, o.value AS before, n.value AS after, o.u,
           abs(n.value - o.value) AS change
    FROM (SELECT m.* FROM registry_measurement m JOIN both_done b ON b.id = m.run_id
          WHERE m.edition_id = %(old)s) o
    FULL JOIN (SELECT m.* FROM registry_measurement m JOIN both_done b ON b.id = m.run_id
               WHERE m.edition_id = %(new)s) n ON n.run_id = o.run_id AND n.metric = o.metric
), seen AS (
    SELECT *, change > 1e-9 * greatest(abs(before), abs(after)) AS moved,
           100 * change / nullif(abs(before), 0) AS percent, change / nullif(u, 0) AS in_u
    FROM pair
)
SELECT metric, min(unit) AS unit, count(change) AS runs, count(*) FILTER (WHERE moved) AS moved,
       count(*) FILTER (WHERE before IS NULL) AS gained, count(*) FILTER (WHERE after IS NULL) AS lost,
       percentile_cont(0.5) WITHIN GROUP (ORDER BY change) FILTER (WHERE moved) AS median_change,
       max(change) FILTER (WHERE moved) AS largest_change,
       percentile_cont(0.5) WITHIN GROUP (ORDER BY percent) FILTER (WHERE moved) AS median_percent,
       max(percent) FILTER (WHERE moved) AS largest_percent,
       percentile_cont(0.5) WITHIN GROUP (ORDER BY in_u) FILTER (WHERE moved) AS median_in_u,
       max(in_u) FILTER (WHERE moved) AS largest_in_u,
       (max(ARRAY[in_u, run]) FILTER (WHERE moved AND in_u IS NOT NULL))[2]::bigint AS furthest_run
FROM seen GROUP BY metric ORDER BY metric
"""  # noqa: S608 - put together from the constants above
# A run held by intake is held under either edition.
_STATES = f"""
WITH {_BOTH}, moved AS (
    SELECT id, held_after FROM both_done b
    WHERE held_before <> held_after AND NOT EXISTS (
        SELECT 1 FROM registry_finding f WHERE f.run_id = b.id AND f.edition_id = %(current)s
        AND f.severity = 'hold' AND f.code = ANY(%(codes)s))
)
SELECT m.held_after, f.code, count(DISTINCT m.id)
FROM moved m JOIN registry_finding f
  ON f.run_id = m.id AND f.severity = 'hold' AND f.code <> ALL(%(codes)s)
 AND f.edition_id = CASE WHEN m.held_after THEN %(new)s ELSE %(old)s END
GROUP BY GROUPING SETS ((m.held_after, f.code), (m.held_after)) ORDER BY 3 DESC, 2
"""  # noqa: S608 - likewise


@dataclass(frozen=True)
class MetricChange:
    """How one metric moved over the runs that have it under both editions.

    Changes are absolute, in the metric's unit, in per cent of the old value, and in the old standard
    uncertainty, each over the runs that moved (None where none did). `gained` and `lost` count runs that have
    the metric under one edition only. `furthest_run` moved the most uncertainties.
    """

    metric: str
    unit: str
    runs: int
    moved: int
    gained: int
    lost: int
    median_change: float | None
    largest_change: float | None
    median_percent: float | None
    largest_percent: float | None
    median_in_u: float | None
    largest_in_u: float | None
    furthest_run: int | None


@dataclass(frozen=True)
class StateChange:
    """How many runs an edition holds, or sets free, and by which findings; a run may have several."""

    runs: int
    why: dict[str, int]


@dataclass(frozen=True)
class Report:
    """Edition against edition over the runs that are not withdrawn. `unmeasured` counts all runs by code."""

    edition: int
    against: int
    runs: int
    measured: int
    left: int
    unmeasured: dict[str, int]
    metrics: list[MetricChange]
    held: StateChange
    freed: StateChange

    def as_dict(self) -> dict[str, Any]:
        """The report as JSON."""
        return asdict(self)


def report(edition: int, against: int | None = None) -> Report:
    """Compare an edition with another: the current one, or, once switched to, the one before.

    Raises Conflict when there is none to compare with.
    """
    other = _other(edition) if against is None else against
    names = {"old": other, "new": edition, "current": current_edition(), "codes": list(INTAKE_CODES)}
    done = RunEdition.objects.filter(edition=edition)
    both = done.filter(run__editions__edition=other).exclude(run__state=RunState.WITHDRAWN)
    held, freed = _states(names)
    refused = done.exclude(refused="").values_list("refused").annotate(n=Count("id"))
    return Report(
        edition=edition,
        against=other,
        runs=Run.objects.exclude(state=RunState.WITHDRAWN).count(),
        measured=both.count(),
        left=left_under(edition).count(),
        unmeasured=dict(refused.order_by("refused")),
        metrics=_metrics(names),
        held=held,
        freed=freed,
    )


def _other(edition: int) -> int:
    current = current_edition()
    if current != edition:
        return current
    rows = RunEdition.objects.exclude(edition=edition).order_by("-edition")
    number = rows.values_list("edition", flat=True).first()
    if number is None:
        raise Conflict(f"No run is measured under another edition than {edition}")
    return number


def _metrics(names: dict[str, Any]) -> list[MetricChange]:
    with connection.cursor() as cursor:
        cursor.execute(_METRICS, names)
        return [MetricChange(*row) for row in cursor.fetchall()]


def _states(names: dict[str, Any]) -> tuple[StateChange, StateChange]:
    """Runs that measuring holds under the new edition alone, and under the old one alone."""
    runs, why = {True: 0, False: 0}, {True: dict[str, int](), False: dict[str, int]()}
    with connection.cursor() as cursor:
        cursor.execute(_STATES, names)
        for holds, code, count in cursor.fetchall():
            if code is None:
                runs[holds] = count
            else:
                why[holds][code] = count
    return StateChange(runs[True], why[True]), StateChange(runs[False], why[False])
