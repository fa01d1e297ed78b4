"""How every subject stands under every rule: kept, so that a check of one counts what all others came to."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Final

from django.db import connection, transaction
from django.db.models import Q

from registry.alerts.verdicts import Rule, Verdict
from registry.models import Judgement

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
_SUBJECT_LONGEST = 120
_LOCK = 7_402_118  # of the database, for who writes judgements or alerts
Said = tuple[Rule, Sequence[Verdict]]


def keep(said: Iterable[Said], at: datetime) -> None:
    """Keep what rules said in a look that began at `at`: two queries. Chances are charged ones.

    Each subject's word replaces the one before, but never that of a look that began later: a slow look that
    ends last would else bring back what was so before. Of subjects that are one when cut to what is stored,
    the last counts: two in one statement would lose what all rules said.
    """
    made = (_row(rule, verdict, at) for rule, verdicts in said for verdict in verdicts)
    rows = list({(row.rule, row.rule_version, row.subject): row for row in made}.values())
    if not rows:
        return
    with transaction.atomic(savepoint=False):
        one_at_a_time()
        later = _looked_at_since(rows, at)
        Judgement.objects.bulk_create(
            [row for row in rows if (row.rule, row.rule_version, row.subject) not in later],
            batch_size=1000,
            update_conflicts=True,
            unique_fields=["rule", "rule_version", "subject"],
            update_fields=list(_SAID),
        )


def one_at_a_time() -> None:
    """Wait until no other worker writes judgements or alerts; lasts to the end of the transaction."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])


def subject_of(verdict: Verdict) -> str:
    """The subject of a verdict as it is stored."""
    return verdict.subject[:_SUBJECT_LONGEST]


def _looked_at_since(rows: Iterable[Judgement], at: datetime) -> set[tuple[str, int, str]]:
    """Which of the subjects a look that began later has judged already."""
    subjects: dict[tuple[str, int], list[str]] = {}
    for row in rows:
        subjects.setdefault((row.rule, row.rule_version), []).append(row.subject)
    among = Q(pk__in=[])
    for (rule, version), names in subjects.items():
        among |= Q(rule=rule, rule_version=version, subject__in=names)
    kept = Judgement.objects.filter(among, looked_at__gt=at)
    return set(kept.values_list("rule", "rule_version", "subject"))


def _row(rule: Rule, verdict: Verdict, at: datetime) -> Judgement:
    keys: Mapping[str, int | None] = {f"{name}_id": verdict.keys.get(name) for name in _KEYS}
    return Judgement(
        rule=rule.name,
        rule_version=rule.version,
        subject_kind=rule.subject_kind,
        subject=subject_of(verdict),
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
