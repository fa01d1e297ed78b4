"""Cells as they were at a past time, made again from the runs that counted then.

Kept are every run with when it came, its measurements under each edition, and what state each run and what
revision each unit was in before (`registry.models.history`). An answer made while uploads were under way may
differ from the one made again by those uploads. Names, labels and declarations are those of today.
"""

from datetime import datetime
from typing import Any

from django.db.models import Avg, Count, F, QuerySet, Subquery, Variance
from django.db.models.expressions import OuterRef
from django.db.models.functions import Coalesce

from registry.answers.cells import Group, Key, Narrowed, group_of
from registry.models import Measurement, Run, RunState, RunWas, UnitWas

# Where each key but the revision lies from a measurement.
_OF_MEASUREMENT = {
    "mode": "run__mode",
    "programme": "run__programme",
    "level": "run__level",
    "side": "run__side",
    "rig": "run__rig_id",
    "power": "run__session__power",
    "metric": "metric",
    "unit": "unit",
}
# A row a gauge: squares are those within each, so that no difference between gauges joins them.
_OF_ROW = ("run__unit_id", "run__unit__revision_id", "run__clinic_id", "run__session__gauge_id")


def past(narrowed: Narrowed, moment: datetime) -> list[Group]:
    """Return all cells as they were at a past time: from the runs that were there and accepted then.

    Two queries. They go through measurements, so that the time it takes grows with the runs.
    """
    where = narrowed.of_runs("run__", "run__session__power")
    counted = (
        Measurement.objects.filter(**where, **narrowed.of_metric(), run__created_at__lte=moment)
        .alias(then=state_at(moment, "run_id", "run__state"))
        .filter(then=RunState.ACCEPTED)
        .values(*_OF_MEASUREMENT.values(), *_OF_ROW)
        .annotate(
            n=Count("id"),
            mean=Avg("value"),
            variance=Variance("value"),
            random=Avg(F("u_random") * F("u_random")),
            systematic=Avg(F("u_systematic") * F("u_systematic")),
        )
    )
    before = revisions_before(narrowed.pump_model, moment)
    found: dict[Key, list[tuple[float, ...]]] = {}
    for row in counted.iterator():
        unit = row["run__unit_id"]
        revision = before.get(unit, row["run__unit__revision_id"])
        if narrowed.has_revision(revision):
            key = Key(revision, *(row[name] for name in _OF_MEASUREMENT.values()))
            found.setdefault(key, []).append((unit, row["run__clinic_id"], *_figures(row)))
    return [group_of(key, list(zip(*rows, strict=True))) for key, rows in found.items()]


def _figures(row: dict[str, Any]) -> tuple[float, ...]:
    """Count, mean, sum of squares and root mean squares, as a summary has them."""
    n = row["n"]
    return n, row["mean"], n * row["variance"], row["random"] ** 0.5, row["systematic"] ** 0.5


def state_at(moment: datetime, run: str, now: str) -> Coalesce:
    """The state a run was in at a past time; `run` and `now` lead to its key and its present state."""
    later = RunWas.objects.filter(pgh_obj=OuterRef(run), pgh_created_at__gt=moment).order_by("pgh_id")
    return Coalesce(Subquery(later.values("state")[:1]), F(now))


def runs_at(moment: datetime | None) -> QuerySet[Run]:
    """All runs; those there at a past time, with their state then in `then`, where a time is given."""
    if moment is None:
        return Run.objects.all()
    return Run.objects.filter(created_at__lte=moment).annotate(then=state_at(moment, "id", "state"))


def revisions_before(pump_model: int, moment: datetime) -> dict[int, int | None]:
    """The revision at that time of each unit whose revision changed since."""
    changes = UnitWas.objects.filter(pgh_obj__pump_model=pump_model, pgh_created_at__gt=moment)
    first = changes.order_by("pgh_obj_id", "pgh_id").distinct("pgh_obj_id")
    return dict(first.values_list("pgh_obj_id", "revision_id"))
