"""Which builds a check of new runs has to judge anew: those whose readings changed since they were judged."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd
from django.db.models import Max

from registry.alerts.readings import Readings
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.models import Judgement, UnitSummary

# The rules that look at the whole of a build, which a check asks only about builds that have something new.
BUILDS = ("unlisted_revision", "revision_drifting")
# What an upload stores bears the time at which it began, and is seen by others only when it ends.
_LONGEST_UPLOAD = timedelta(minutes=5)


@dataclass(frozen=True)
class News:
    """The `builds` of a model that are to be judged anew, and how all of them were `judged` before."""

    builds: frozenset[int]
    judged: Sequence[Judgement]

    def off_before(self, rule: Rule, verdicts: Iterable[Verdict]) -> list[Verdict]:
        """What a rule found off of the builds that it did not judge anew."""
        anew = {verdict.subject for verdict in verdicts}
        return [
            _verdict(row)
            for row in self.judged
            if (row.rule, row.rule_version) == (rule.name, rule.version)
            and row.standing == Standing.OFF
            and row.subject not in anew
        ]


def news_of(seen: Readings, pump_model: int, rules: Iterable[Rule], doubted: Iterable[int]) -> News:
    """Return which builds of a model one of the rules of builds has not judged as they are now: two queries.

    That is where a cell was refreshed since, where the number of runs differs (a run was withdrawn, a unit
    is taken for another build), and where one of the `doubted` gauges read. `seen` are the model's readings.
    """
    of_builds = [rule for rule in rules if rule.subject_kind == "revision"]
    judged = _judged(pump_model, of_builds)
    asked = [(rule.name, rule.version) for rule in of_builds if rule.name in BUILDS]
    refreshed, runs = _refreshed(pump_model, seen), _runs(seen)
    table = seen.table
    changed = set(table["revision"][np.isin(table["gauge"], list(doubted))].tolist())
    for build, count in runs.items():
        since = refreshed.get(build)
        known = {(row.rule, row.rule_version): row for row in judged if row.revision_id == build}
        as_it_is = since is not None and all(
            (row := known.get(key)) and row.runs == count and row.looked_at > since + _LONGEST_UPLOAD
            for key in asked
        )
        if not as_it_is:
            changed.add(build)
    return News(frozenset(changed), judged)


def _judged(pump_model: int, rules: Iterable[Rule]) -> list[Judgement]:
    keys = {(rule.name, rule.version) for rule in rules}
    rows = Judgement.objects.filter(
        pump_model=pump_model, rule__in=[name for name, _ in keys], revision__isnull=False
    ).only(
        "rule", "rule_version", "subject", "standing", "size", "p", "says", "runs", "looked_at", "revision_id"
    )
    return [row for row in rows if (row.rule, row.rule_version) in keys]


def _refreshed(pump_model: int, seen: Readings) -> dict[int, datetime]:
    """When a cell of each build was refreshed last, also where its gauge is not declared.

    A run refreshes all metrics of its cell.
    """
    undeclared = (
        UnitSummary.objects.filter(
            pump_model=pump_model,
            edition=seen.edition,
            metric="cycle_rate",
            gauge=None,
            unit__revision__isnull=False,
        )
        .values_list("unit__revision")
        .annotate(Max("refreshed_at"))
    )
    found = dict(seen.refreshed)
    for build, at in undeclared:
        found[build] = max(at, found.get(build, at))
    return found


def _runs(seen: Readings) -> dict[int, int]:
    """How many runs each build has in the metric that has most."""
    table = seen.table
    builds, build = np.unique(table["revision"].to_numpy(np.int64), return_inverse=True)
    metric, metrics = pd.factorize(table["metric"])
    runs = np.bincount(build * len(metrics) + metric, table["runs"], builds.size * len(metrics))
    most = runs.reshape(builds.size, len(metrics)).max(axis=1, initial=0)
    return dict(zip(builds.tolist(), most.astype(int).tolist(), strict=True))


def _verdict(row: Judgement) -> Verdict:
    assert row.revision_id is not None  # noqa: S101 - it is asked for builds only
    return Verdict(
        row.subject, Standing(row.standing), row.size, row.p, row.says, keys={"revision": row.revision_id}
    )
