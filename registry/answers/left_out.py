"""What an answer left out, and why."""

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple

from django.db.models import Count, Q, Value

from registry.answers.cells import Narrowed
from registry.answers.past import runs_at
from registry.models import Finding, RunState


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


_PLACE = ("unit__revision", "mode", "programme", "level", "rig", "session__power", "session__elevation")


def left(narrowed: Narrowed, moment: datetime | None) -> list[Left]:
    """Return the runs held and withdrawn within a question, by place and code: one query.

    By code of now alone: findings are judged again, and what they were is not kept. Units are of the
    revision they have today.
    """
    state = "state" if moment is None else "then"
    runs = runs_at(moment).filter(**narrowed.of_runs(sitting="session__"))
    runs = runs.exclude(**{state: RunState.ACCEPTED})
    if narrowed.revision is not None:
        runs = runs.filter(Q(unit__revision=narrowed.revision) | Q(unit__revision=None))
    found = runs.order_by().values_list(Value(""), state, *_PLACE).annotate(n=Count("id"))
    if moment is None:
        held = runs.filter(state=RunState.HELD).values("id")
        holding = Finding.objects.filter(run__in=held, edition=narrowed.edition, severity="hold").order_by()
        by_code = holding.values_list("code", "run__state", *(f"run__{name}" for name in _PLACE))
        found = found.union(by_code.annotate(n=Count("run", distinct=True)), all=True)
    return [Left(*row) for row in found]


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
