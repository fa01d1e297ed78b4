"""Which builds a check of new runs has to judge anew: those whose readings changed since they were judged."""

from collections.abc import Iterable
from datetime import timedelta

from django.db.models import Max

from registry.alerts.readings import Readings
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.models import Judgement, UnitSummary

# What an upload stores bears the time at which it began, and is seen by others only when it ends.
_LONGEST_UPLOAD = timedelta(minutes=5)


def with_news(
    seen: Readings, pump_model: int, rules: Iterable[Rule], doubted: Iterable[int]
) -> frozenset[int]:
    """Return the builds of a model that one of the rules has not judged as they are now: two queries.

    That is where a cell was refreshed since, where the number of runs differs (a run was withdrawn, a unit
    is taken for another build), and where one of the `doubted` gauges read.
    """
    table = seen.table[seen.table["pump_model"] == pump_model]
    runs = table.groupby(["revision", "metric"])["runs"].sum().groupby("revision").max()
    asked = {(rule.name, rule.version) for rule in rules}
    known = {key: dict[int, Judgement]() for key in asked}
    for row in Judgement.objects.filter(rule__in=[name for name, _ in asked], pump_model=pump_model).only(
        "rule", "rule_version", "revision_id", "runs", "looked_at"
    ):
        if (row.rule, row.rule_version) in known and row.revision_id is not None:
            known[row.rule, row.rule_version][row.revision_id] = row
    refreshed = dict(
        UnitSummary.objects.filter(
            pump_model=pump_model, edition=seen.edition, metric="cycle_rate", unit__revision__isnull=False
        )
        .values_list("unit__revision")
        .annotate(Max("refreshed_at"))
    )
    changed = set(table.loc[table["gauge"].isin(list(doubted)), "revision"].tolist())
    for build, count in zip(runs.index.tolist(), runs.tolist(), strict=True):
        judged = [rows.get(build) for rows in known.values()]
        since = refreshed.get(build)
        if since is None or not all(
            row and row.runs == count and row.looked_at > since + _LONGEST_UPLOAD for row in judged
        ):
            changed.add(build)
    return frozenset(changed)


def off_before(rule: Rule, pump_model: int, judged: Iterable[Verdict]) -> list[Verdict]:
    """What a rule found off of a model's builds that were not judged anew: one query."""
    rows = Judgement.objects.filter(
        rule=rule.name, rule_version=rule.version, pump_model=pump_model, standing=Standing.OFF
    ).exclude(subject__in=[verdict.subject for verdict in judged])
    return [_verdict(row) for row in rows if row.revision_id is not None]


def _verdict(row: Judgement) -> Verdict:
    assert row.revision_id is not None  # noqa: S101 - it is asked for builds only
    return Verdict(
        row.subject, Standing(row.standing), row.size, row.p, row.says, keys={"revision": row.revision_id}
    )
