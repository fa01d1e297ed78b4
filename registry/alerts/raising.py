"""Suspect, raise, settle. One cause has one open alert, whoever finds it first."""

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime
from itertools import chain

from django.db import transaction
from django.utils import timezone

from registry.alerts.asked import ONGOING, Asked, dismissed, judged, ongoing
from registry.alerts.delivery import announce
from registry.alerts.families import Chances, Family
from registry.alerts.judgements import ALARM, CALM, WHY, keep, one_at_a_time
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.models import Alert, AlertState, Judgement

# A dismissed alert stays away until the effect has grown by this much, or turned round.
_GROWN = 0.04


def record(
    rule: Rule, verdicts: Iterable[Verdict], *, shadow: bool = False, live: Iterable[Rule] | None = None
) -> None:
    """Keep what a rule said of some subjects, and decide about their alerts; others are left as they are.

    Chance is judged over all that the `live` rules look at, by default this one alone. Safe under any number
    of workers: they decide one after the other, and the database holds one open alert a rule and subject.
    """
    told, among = list(verdicts), [rule] if live is None else list(live)
    keep([(rule, told)], timezone.now())
    asked = Asked(rule, [verdict.subject for verdict in told], shadow=shadow)
    decide([asked], lambda _: Chances().family(among))


def decide(asked: Sequence[Asked], among: Callable[[Asked], Family]) -> None:
    """Suspect, raise, settle or let lapse what the judgements that are asked about call for.

    `among` tells the family that chance is judged over; it is asked only where something may change.
    """
    with transaction.atomic(savepoint=False):
        one_at_a_time()
        going = ongoing(asked)
        rows = judged(asked, going)
        if not any(rows.values()):
            return
        for one in asked:
            if rows[one.key]:
                family = among(one)
                for row in rows[one.key]:
                    row.q = family.share(one.rule, row.p)
        Judgement.objects.bulk_update(chain.from_iterable(rows.values()), ["q"], batch_size=1000)
        away = dismissed(asked, rows)
        for one in asked:
            for row in rows[one.key]:
                about = going[one.key].get(row.subject), away.get((*one.key, row.subject))
                _decide_one(one.rule, row, *about, shadow=one.shadow)


def settle_unjudged(rule: Rule, since: datetime, *, shadow: bool = False) -> None:
    """End what a full scan that began at `since` no longer found anything about, and forget its judgement."""
    with transaction.atomic():
        one_at_a_time()
        stale = Judgement.objects.filter(rule=rule.name, rule_version=rule.version, looked_at__lt=since)
        stale.delete()
        judged = Judgement.objects.filter(rule=rule.name, rule_version=rule.version)
        # Locked, so that what a curator dismisses meanwhile stays dismissed.
        left = Alert.objects.filter(Asked(rule, shadow=shadow).alerts(), state__in=ONGOING)
        left = left.exclude(subject__in=judged.values("subject"))
        for alert in left.select_for_update():
            _end(alert, "nothing is left to judge it by")


def settle_retired(names: Collection[str]) -> None:
    """End the alerts of rules that are no longer in use."""
    with transaction.atomic():
        one_at_a_time()
        left = Alert.objects.filter(state__in=ONGOING, shadow=False).exclude(rule__in=names)
        for alert in left.select_for_update():
            _end(alert, "its rule is no longer in use")


def _decide_one(rule: Rule, row: Judgement, alert: Alert | None, away: Alert | None, *, shadow: bool) -> None:
    """What one judgement asks for. Between the limits everything stays as it is: alerts do not flicker."""
    q = 1.0 if row.q is None else row.q
    if row.standing == Standing.OFF and q <= ALARM:
        if alert is None and not _stays_away(row, away):
            alert = _suspicion(rule, row, shadow=shadow)
        if alert is not None and alert.state == AlertState.SUSPECTED and _is_confirmed(row, alert):
            _raise(rule, alert, row)
    elif alert is not None and (row.standing in (Standing.CLEAR, Standing.UNJUDGED) or q >= CALM):
        _end(alert, row.says if row.standing != Standing.OFF else "chance would do as much among so many")


def _is_confirmed(row: Judgement, alert: Alert) -> bool:
    """By two halves of the evidence, or by runs that came after it was suspected."""
    suspected = float(alert.evidence["size"])
    return row.confirmed or (row.runs > alert.runs and suspected * row.size > 0)


def _suspicion(rule: Rule, row: Judgement, *, shadow: bool) -> Alert:
    alert = Alert(
        rule=rule.name,
        rule_version=rule.version,
        shadow=shadow,
        subject_kind=rule.subject_kind,
        subject=row.subject,
        clinic_id=row.clinic_id,
        pump_model_id=row.pump_model_id,
        state=AlertState.SUSPECTED,
        since=row.since or timezone.now(),
        runs=row.runs,
    )
    _freeze(rule, alert, row)
    alert.save(force_insert=True)
    return alert


def _raise(rule: Rule, alert: Alert, row: Judgement) -> None:
    _freeze(rule, alert, row)
    alert.state, alert.raised_at = AlertState.RAISED, timezone.now()
    alert.since = row.since or alert.since
    alert.save()
    _announce(alert, "raised")


def _freeze(rule: Rule, alert: Alert, row: Judgement) -> None:
    """Evidence as it is now; nothing of it changes once the alert is raised."""
    evidence = dict(row.evidence)
    why = evidence.pop(WHY, [])
    q = 1.0 if row.q is None else row.q
    alert.rule_version, alert.severity = rule.version, rule.severity
    alert.says, alert.confidence = row.says, round(1 - q, 4)
    alert.evidence = {"size": row.size, "p": row.p, "q": q, **evidence}
    alert.why = [*why, f"false in {_percent(q)} of such cases at most; {100 * ALARM:g} % are allowed"]
    alert.cautions = row.cautions


def _percent(share: float) -> str:
    """A share as people say it, never in powers of ten."""
    return f"{100 * share:.2g} %" if share >= 1e-4 else "0.01 %"


def _end(alert: Alert, why: str) -> None:
    """A suspicion lapses unheard; what was told is settled."""
    was_told = alert.state != AlertState.SUSPECTED
    alert.state = AlertState.SETTLED if was_told else AlertState.LAPSED
    alert.closed_at, alert.closed_why = timezone.now(), why[:400]
    alert.save(update_fields=["state", "closed_at", "closed_why", "changed_at"])
    if was_told:
        _announce(alert, "settled")


def _announce(alert: Alert, event: str) -> None:
    if not alert.shadow:
        announce(alert, event)


def _stays_away(row: Judgement, dismissed: Alert | None) -> bool:
    if dismissed is None:
        return False
    before = float(dismissed.evidence["size"])
    return before * row.size > 0 and abs(row.size) < abs(before) + _GROWN
