"""What an answer left out, and why."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import Count, Q, QuerySet, Value

from registry.answers.cells import Group, Narrowed
from registry.answers.past import runs_at
from registry.models import Finding, Run, RunState


def left_out(
    narrowed: Narrowed, rigs: Iterable[int] | None, groups: Iterable[Group], moment: datetime | None
) -> dict[str, Any]:
    """Return runs held and withdrawn, why they are held, and what has no revision, within a question.

    `rigs` are the only rigs asked about, None for any; `groups` are the cells of units whose revision is not
    known, where a revision was asked for. `held_for` counts runs by the code of the finding that holds them
    and is None for a past time: findings are judged again, and what they were is not kept. Why runs were
    withdrawn is in people's own words and not told here. Units are of the revision they have today. One
    query.
    """
    state = "state" if moment is None else "then"
    runs = runs_at(moment).filter(**narrowed.of_runs(sitting="session__"))
    runs = runs.exclude(**{state: RunState.ACCEPTED})
    if narrowed.revision is not None:
        runs = runs.filter(Q(unit__revision=narrowed.revision) | Q(unit__revision=None))
    if rigs is not None:
        runs = runs.filter(rig__in=list(rigs))
    by_state, held_for = _counted(runs, state, narrowed.edition)
    return {
        "held": by_state.get(RunState.HELD, 0),
        "withdrawn": by_state.get(RunState.WITHDRAWN, 0),
        "held_for": None if moment else dict(sorted(held_for.items(), key=lambda pair: (-pair[1], pair[0]))),
        "unknown_revision": _unknown(groups),
    }


def _counted(runs: QuerySet[Run], state: str, edition: int) -> tuple[dict[str, int], dict[str, int]]:
    """Runs by state, and held ones by the code that holds them, the latter of now alone."""
    by_state = runs.order_by().values_list(Value("runs"), state).annotate(n=Count("id"))
    if state != "state":
        return {of: n for _, of, n in by_state}, {}
    held = runs.filter(state=RunState.HELD).values("id")
    holding = Finding.objects.filter(run__in=held, edition=edition, severity="hold").order_by()
    by_code = holding.values_list(Value("codes"), "code").annotate(n=Count("run", distinct=True))
    found: dict[str, dict[str, int]] = {"runs": {}, "codes": {}}
    for which, of, n in by_state.union(by_code, all=True):
        found[which][of] = n
    return found["runs"], found["codes"]


def _unknown(groups: Iterable[Group]) -> dict[str, int]:
    """Runs and units; a run counts once, however many metrics it has."""
    units: set[int] = set()
    runs: dict[str, int] = {}
    for group in groups:
        units.update(group.units)
        runs[group.setting.metric] = runs.get(group.setting.metric, 0) + int(group.cells.runs.sum())
    return {"runs": max(runs.values(), default=0), "units": len(units)}
