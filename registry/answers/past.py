"""Cells as they were at a past time, made again from the runs that counted then.

Kept are every run with when it came, its measurements under each edition, and what state each run and what
revision each unit was in before (`registry.models.history`). An answer made while uploads were under way may
differ from the one made again by those uploads. Names, labels and declarations are those of today.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Avg, Count, F, QuerySet, Subquery, Variance
from django.db.models.expressions import OuterRef
from django.db.models.functions import Coalesce

from registry.answers.cells import READ, Group, Narrowed, group_of
from registry.answers.setting import Setting, setting_of
from registry.models import Measurement, Run, RunState, RunWas, UnitWas

# Where each column of a summary lies from a measurement; a row a gauge, as summaries have them.
_FROM_MEASUREMENT = {
    "pump_model": "run__pump_model_id",
    "unit": "run__unit_id",
    "clinic": "run__clinic_id",
    "gauge": "run__session__gauge_id",
    "rig": "run__rig_id",
    "power": "run__session__power",
    "elevation": "run__session__elevation",
    "mode": "run__mode",
    "programme": "run__programme",
    "level": "run__level",
    "side": "run__side",
    "metric": "metric",
    "metric_unit": "unit",
}
_NOW = "run__unit__revision_id"
# Filters on a summary, by the first part of their name, that do not simply lie at the run.
_PATHS = {
    "edition": "edition",
    "metric": "metric",
    "power": "run__session__power",
    "elevation": "run__session__elevation",
    "gauge": "run__session__gauge",
}


def past(narrowed: Narrowed, moment: datetime) -> list[Group]:
    """Return all cells as they were at a past time: from the runs that were there and accepted then."""
    found: dict[tuple[int | None, Setting], list[tuple[float, ...]]] = {}
    for row in rows_at(moment, {**narrowed.of_runs(), **narrowed.of_metric()}):
        if narrowed.has_revision(row["revision"]):
            key = row["revision"], setting_of(row)
            found.setdefault(key, []).append(tuple(row[name] for name in READ))
    return [group_of(*key, list(zip(*rows, strict=True))) for key, rows in found.items()]


def rows_at(moment: datetime | None, where: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield what summaries held at a past time, or hold now, named as columns of `summaries.summary_frame`.

    `where` are filters as on UnitSummary, and on what runs alone keep, such as `firmware`; of a unit's
    revision `unit__revision`, `__in` and `__isnull` are understood, and go by the revision it had then
    (ValueError for others). Two queries; they go through measurements, so that the time it takes grows with
    the runs.
    """
    counted = (
        _counting(moment, where)
        .values(*_FROM_MEASUREMENT.values(), _NOW)
        .annotate(
            runs=Count("id"),
            mean=Avg("value"),
            variance=Variance("value"),
            random=Avg(F("u_random") * F("u_random")),
            systematic=Avg(F("u_systematic") * F("u_systematic")),
        )
    )
    model = where.get("pump_model")
    before = revisions_before(getattr(model, "pk", model), moment) if moment else {}
    for row in counted.iterator():
        revision = before.get(row["run__unit_id"], row[_NOW])
        if _has_revision(where, revision):
            yield {
                **{name: row[path] for name, path in _FROM_MEASUREMENT.items()},
                "revision": revision,
                "runs": row["runs"],
                "mean": row["mean"],
                "squares": row["runs"] * row["variance"],
                "random": row["random"] ** 0.5,
                "systematic": row["systematic"] ** 0.5,
            }


def _counting(moment: datetime | None, where: Mapping[str, Any]) -> QuerySet[Measurement]:
    """The measurements that match, of runs that counted."""
    found = Measurement.objects.filter(**_on_measurements(where))
    if moment is None:
        return found.filter(run__state=RunState.ACCEPTED)
    then = state_at(moment, "run_id", "run__state")
    return found.filter(run__created_at__lte=moment).alias(then=then).filter(then=RunState.ACCEPTED)


def _on_measurements(where: Mapping[str, Any]) -> dict[str, Any]:
    """The same filters on measurements, but for those on a unit's revision."""
    kept = {name: value for name, value in where.items() if not name.startswith("unit__revision")}
    parted = ((name.partition("__"), value) for name, value in kept.items())
    return {_PATHS.get(first, f"run__{first}") + dash + rest: value for (first, dash, rest), value in parted}


def _has_revision(where: Mapping[str, Any], revision: int | None) -> bool:
    """Whether a revision passes the filters on it."""
    for name, wanted in where.items():
        if not name.startswith("unit__revision"):
            continue
        lookup = name.removeprefix("unit__revision")
        if lookup not in ("", "__in", "__isnull"):
            raise ValueError(f"no filter {name} for a past time")
        if lookup == "__isnull":
            passes = (revision is None) == wanted
        else:
            passes = revision in {getattr(one, "pk", one) for one in (wanted if lookup else [wanted])}
        if not passes:
            return False
    return True


def state_at(moment: datetime, run: str, now: str) -> Coalesce:
    """The state a run was in at a past time; `run` and `now` lead to its key and its present state."""
    later = RunWas.objects.filter(pgh_obj=OuterRef(run), pgh_created_at__gt=moment).order_by("pgh_id")
    return Coalesce(Subquery(later.values("state")[:1]), F(now))


def runs_at(moment: datetime | None) -> QuerySet[Run]:
    """All runs; those there at a past time, with their state then in `then`, where a time is given."""
    if moment is None:
        return Run.objects.all()
    return Run.objects.filter(created_at__lte=moment).annotate(then=state_at(moment, "id", "state"))


def revisions_before(pump_model: int | None, moment: datetime) -> dict[int, int | None]:
    """The revision at that time of each unit (of a pump model) whose revision changed since."""
    changes = UnitWas.objects.filter(pgh_created_at__gt=moment)
    if pump_model is not None:
        changes = changes.filter(pgh_obj__pump_model=pump_model)
    first = changes.order_by("pgh_obj_id", "pgh_id").distinct("pgh_obj_id")
    return dict(first.values_list("pgh_obj_id", "revision_id"))
