"""How every subject stands under every rule: kept, so that a check of one counts what all others came to."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

import numpy as np
from django.db import connection, transaction
from numpy.typing import NDArray

from registry.alerts.verdicts import Rule, Verdict
from registry.models import Judgement
from registry.statistics.discoveries import adjusted, weighted

# The share of false ones among all that is ever told, one in twenty at most; a suspicion has to be confirmed
# besides. An alert ends where it would have to be one in five.
ALARM: Final = 0.05
CALM: Final = 0.2
WHY: Final = "why"
_KEYS = ("unit", "gauge", "clinic", "revision", "pump_model")
_SAID = (
    "subject_kind", "standing", "size", "p", "runs", "says", "lacks", "evidence", "cautions", "confirmed",
    "since", "looked_at", *_KEYS,
)  # fmt: skip
_LONGEST = 400
_KEEPING = 0x6B656570
_COUNT = """
SELECT count(j.p) FROM unnest(%s::text[], %s::int[]) WITH ORDINALITY AS r (name, version, place)
LEFT JOIN registry_judgement j ON j.rule = r.name AND j.rule_version = r.version
GROUP BY r.place ORDER BY r.place
"""
_LEAST = """
SELECT r.place, j.p
FROM unnest(%s::text[], %s::int[], %s::float[]) WITH ORDINALITY AS r (name, version, most, place)
JOIN registry_judgement j ON j.rule = r.name AND j.rule_version = r.version AND j.p < r.most
"""


@dataclass(frozen=True)
class Family:
    """Everything that is looked at: how many chances there are, and the small ones among them, in order.

    `factors` are what each rule's chances are multiplied by, so that every rule has the same say.
    """

    size: int
    least: NDArray[np.float64]
    shares: NDArray[np.float64]
    factors: Mapping[str, float]

    def share(self, rule: Rule, chance: float | None) -> float:
        """The share of false discoveries if all as unlikely as this were told; 1 where it is no small one."""
        if chance is None:
            return 1.0
        place = int(np.searchsorted(self.least, chance * self.factors.get(rule.name, 1.0), side="left"))
        return float(self.shares[place]) if place < self.shares.size else 1.0


def keep(rule: Rule, verdicts: Iterable[Verdict], at: datetime) -> None:
    """Keep what a rule said in a look that began at `at`. Chances are charged ones.

    Each subject's word replaces the one before, but never that of a look that began later: a slow look that
    ends last would else bring back what was so before.
    """
    rows = [_row(rule, verdict, at) for verdict in verdicts]
    with transaction.atomic():
        _one_keeper_at_a_time()
        kept = Judgement.objects.filter(rule=rule.name, rule_version=rule.version, looked_at__gt=at)
        later = set(kept.values_list("subject", flat=True))
        Judgement.objects.bulk_create(
            [row for row in rows if row.subject not in later],
            batch_size=1000,
            update_conflicts=True,
            unique_fields=["rule", "rule_version", "subject"],
            update_fields=list(_SAID),
        )


def _one_keeper_at_a_time() -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_KEEPING])


def family(rules: Iterable[Rule]) -> Family:
    """All that the rules judged, whoever looked: two queries. Shares below `CALM` are exact."""
    chosen = list(rules)
    names, versions = [rule.name for rule in chosen], [rule.version for rule in chosen]
    with connection.cursor() as cursor:
        cursor.execute(_COUNT, [names, versions])
        sizes = [int(size) for (size,) in cursor.fetchall()]
        total, kinds = sum(sizes), sum(size > 0 for size in sizes)
        factors = [kinds * size / max(total, 1) for size in sizes]
        cursor.execute(_LEAST, [names, versions, [CALM / f if f else 0.0 for f in factors]])
        found = np.array(cursor.fetchall(), float).reshape(-1, 2)
    chances = [found[found[:, 0] == place, 1] for place in range(1, len(chosen) + 1)]
    least = np.sort(np.concatenate([*weighted(chances, sizes), np.empty(0)]))
    named = {rule.name: factor for rule, factor in zip(chosen, factors, strict=True)}
    return Family(total, least, adjusted(least, total), named)


def _row(rule: Rule, verdict: Verdict, at: datetime) -> Judgement:
    keys: Mapping[str, int | None] = {f"{name}_id": verdict.keys.get(name) for name in _KEYS}
    return Judgement(
        rule=rule.name,
        rule_version=rule.version,
        subject_kind=rule.subject_kind,
        subject=verdict.subject[:120],
        standing=str(verdict.standing),
        size=verdict.size,
        p=verdict.p,
        runs=verdict.runs,
        says=verdict.says[:_LONGEST],
        lacks=verdict.lacks[:_LONGEST],
        evidence={**verdict.evidence, WHY: list(verdict.why)},
        cautions=list(verdict.cautions),
        confirmed=verdict.confirmed,
        since=verdict.since,
        looked_at=at,
        **keys,
    )
