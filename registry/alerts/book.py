"""Keep the alerts: raise, settle, see, dismiss. One cause has one open alert, whoever finds it first."""

from collections.abc import Collection, Iterable, Mapping
from typing import Any

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from registry.alerts.documents import CLOSED
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.errors import Conflict, Fault, Invalid, NotFound
from registry.models import Alert, AlertState

OPEN = (AlertState.RAISED, AlertState.SEEN)
# What a list of alerts can be narrowed down to: "open" stands for raised and seen.
STATES = ("open", *AlertState.values)
# A dismissed alert stays away until the effect has grown by this much, or turned round.
_GROWN = 0.04
_REASON_LONGEST = 300


def list_alerts(*, rule: str | None = None, state: str | None = None) -> QuerySet[Alert]:
    """Return alerts, newest first, of one rule and one of `STATES`; None or "" narrows nothing down.

    Raises Invalid on the field `state` when there is no such state.
    """
    if state and state not in STATES:
        raise Invalid(
            f"There is no state '{state[:60]}'",
            hint=f"Known: {', '.join(STATES)}.",
            faults=(Fault("not a known state", field="state"),),
        )
    alerts = Alert.objects.order_by("-id")
    if rule:
        alerts = alerts.filter(rule=rule)
    if state:
        alerts = alerts.filter(state__in=OPEN if state == "open" else [state])
    return alerts


def record(rule: Rule, verdicts: Iterable[Verdict]) -> None:
    """Raise an alert for each subject that is off, settle those that are clear; leave the rest as they are.

    Safe under any number of workers: the database keeps one open alert a rule and subject, and a second
    insert of the same does nothing. Evidence is frozen when the alert is raised.
    """
    verdicts = list(verdicts)
    off = [v for v in verdicts if v.standing is Standing.OFF]
    clear = {v.subject: v.says for v in verdicts if v.standing is Standing.CLEAR}
    with transaction.atomic():
        dismissed = _dismissed(rule, [v.subject for v in off])
        raised = [_alert(rule, v) for v in off if not _stays_dismissed(v, dismissed.get(v.subject))]
        Alert.objects.bulk_create(raised, ignore_conflicts=True)
        _close(_open(rule).filter(subject__in=clear), AlertState.SETTLED, clear)


def settle_unjudged(rule: Rule, judged: Collection[str]) -> None:
    """Settle open alerts whose subject a full scan no longer finds anything about."""
    with transaction.atomic():
        gone = _open(rule).exclude(subject__in=judged)
        _close(gone, AlertState.SETTLED, {})


def mark_seen(alert_id: int) -> Alert:
    """Note that somebody has looked at a raised alert. Raises NotFound; Conflict when it is closed."""
    with transaction.atomic():
        alert = _locked(alert_id)
        alert.state = AlertState.SEEN
        alert.save(update_fields=["state", "changed_at"])
    return alert


def dismiss(alert_id: int, reason: str) -> Alert:
    """Close an alert that is none. Raises Invalid without a reason, NotFound; Conflict when it is closed."""
    reason = " ".join(reason.split())
    if not reason or len(reason) > _REASON_LONGEST or not reason.isprintable():
        raise Invalid(
            "An alert is dismissed with a reason",
            hint=f"Say in up to {_REASON_LONGEST} characters why it is none: it teaches the rule.",
            faults=(Fault("needs a reason", field="reason"),),
        )
    with transaction.atomic():
        alert = _locked(alert_id)
        _close(Alert.objects.filter(pk=alert.pk), AlertState.DISMISSED, {alert.subject: reason})
    alert.refresh_from_db()
    return alert


def _locked(alert_id: int) -> Alert:
    alert = Alert.objects.select_for_update().filter(pk=alert_id).first()
    if alert is None:
        raise NotFound(f"There is no alert {alert_id}")
    if alert.state not in OPEN:
        raise Conflict(f"Alert {alert_id} is already {alert.state}", hint="Only open alerts change.")
    return alert


def _open(rule: Rule) -> QuerySet[Alert]:
    return Alert.objects.filter(rule=rule.name, subject_kind=rule.subject_kind, state__in=OPEN)


def _close(alerts: QuerySet[Alert], state: AlertState, why: Mapping[str, str]) -> None:
    """End alerts; why (by subject) and when join the evidence under `CLOSED`, the rest stays."""
    now = timezone.now().isoformat(timespec="seconds")
    for alert in alerts.select_for_update():
        alert.state = state
        reason = why.get(alert.subject, "nothing is left to judge it by")
        alert.evidence = {**alert.evidence, CLOSED: {"why": reason, "at": now}}
        alert.save(update_fields=["state", "evidence", "changed_at"])


def _alert(rule: Rule, verdict: Verdict) -> Alert:
    return Alert(
        rule=rule.name,
        rule_version=rule.version,
        subject_kind=rule.subject_kind,
        subject=verdict.subject,
        since=timezone.now(),
        confidence=verdict.confidence,
        says=verdict.says[:400],
        evidence={"size": verdict.size, **verdict.evidence},
    )


def _dismissed(rule: Rule, subjects: Collection[str]) -> dict[str, dict[str, Any]]:
    """The evidence of each subject's latest dismissed alert under this version of the rule."""
    closed = Alert.objects.filter(
        rule=rule.name,
        rule_version=rule.version,
        subject_kind=rule.subject_kind,
        subject__in=subjects,
        state=AlertState.DISMISSED,
    )
    return dict(closed.order_by("id").values_list("subject", "evidence"))


def _stays_dismissed(verdict: Verdict, evidence: dict[str, Any] | None) -> bool:
    if evidence is None:
        return False
    before = float(evidence["size"])
    return before * verdict.size > 0 and abs(verdict.size) < abs(before) + _GROWN
