"""What is stored of what a look is to decide about: its open alerts, its judgements, what was dismissed."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from operator import or_

from django.db.models import Q

from registry.alerts.verdicts import Rule, Standing
from registry.models import Alert, AlertState, Judgement

ONGOING = (AlertState.SUSPECTED, AlertState.RAISED, AlertState.SEEN)
Key = tuple[str, int]


@dataclass(frozen=True)
class Asked:
    """What is to be decided: alerts of one version of a rule, about some subjects, None for all.

    Those of a version on trial (`shadow`) are its own.
    """

    rule: Rule
    subjects: Collection[str] | None = None
    shadow: bool = False

    @property
    def key(self) -> Key:
        """What alerts are told apart by: those of live versions of a rule are one."""
        return _told_apart(self.rule.name, self.rule.version, shadow=self.shadow)

    def alerts(self) -> Q:
        """Its alerts, open and closed."""
        found = Q(rule=self.rule.name, subject_kind=self.rule.subject_kind, shadow=self.shadow)
        if self.shadow:
            found &= Q(rule_version=self.rule.version)
        return found if self.subjects is None else found & Q(subject__in=self.subjects)

    def judgements(self, going: Collection[str]) -> Q:
        """Its judgements that may change something: of what is off, and of subjects of ongoing alerts."""
        found = Q(rule=self.rule.name, rule_version=self.rule.version)
        found &= Q(standing=Standing.OFF) | Q(subject__in=going)
        return found if self.subjects is None else found & Q(subject__in=self.subjects)


def ongoing(asked: Sequence[Asked]) -> dict[Key, dict[str, Alert]]:
    """Open alerts and suspicions, by subject, locked: one query."""
    found: dict[Key, dict[str, Alert]] = {one.key: {} for one in asked}
    for alert in Alert.objects.filter(
        _any(one.alerts() for one in asked), state__in=ONGOING
    ).select_for_update():
        found[_key(alert)][alert.subject] = alert
    return found


def judged(asked: Sequence[Asked], going: Mapping[Key, Collection[str]]) -> dict[Key, list[Judgement]]:
    """What may change something, in order of subjects: one query."""
    keys = {(one.rule.name, one.rule.version): one.key for one in asked}
    found: dict[Key, list[Judgement]] = {one.key: [] for one in asked}
    wanted = _any(one.judgements(list(going[one.key])) for one in asked)
    for row in Judgement.objects.filter(wanted).order_by("subject"):
        found[keys[row.rule, row.rule_version]].append(row)
    return found


def dismissed(
    asked: Sequence[Asked], rows: Mapping[Key, Sequence[Judgement]]
) -> dict[tuple[str, int, str], Alert]:
    """The latest alert dismissed under this version of the rule of each subject that is off: one query."""
    closed = [
        replace(one, subjects=off).alerts() & Q(rule_version=one.rule.version)
        for one in asked
        if (off := [row.subject for row in rows[one.key] if row.standing == Standing.OFF])
    ]
    if not closed:
        return {}
    alerts = Alert.objects.filter(_any(closed), state=AlertState.DISMISSED).order_by("id")
    return {(*_key(alert), alert.subject): alert for alert in alerts}


def _key(alert: Alert) -> Key:
    return _told_apart(alert.rule, alert.rule_version, shadow=alert.shadow)


def _told_apart(rule: str, version: int, *, shadow: bool) -> Key:
    return rule, version if shadow else 0


def _any(conditions: Iterable[Q]) -> Q:
    return reduce(or_, conditions, Q(pk__in=[]))
