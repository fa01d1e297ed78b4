"""Alerts as they are listed, and what curators say to them."""

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone

from registry.alerts.delivery import announce
from registry.alerts.narrowing import at_least, rule_of
from registry.errors import Conflict, Fault, Invalid, NotFound, unmeant
from registry.models import Alert, AlertNote, AlertState, DismissReason
from registry.models.alerts import UNTOLD
from registry.models.lookup import find_clinic, find_pump_model

OPEN = (AlertState.RAISED, AlertState.SEEN)
# What a list of alerts can be narrowed down to: "open" stands for raised and seen. Suspicions are told to
# curators only.
TOLD_STATES = tuple(state for state in AlertState.values if state not in UNTOLD)
STATES = ("open", *TOLD_STATES, *UNTOLD)
_NOTE_LONGEST = 300


def list_alerts(
    *,
    rule: str | None = None,
    state: str | None = None,
    severity: str | None = None,
    model: str | None = None,
    clinic: str | None = None,
    shadow: bool = False,
    to_curator: bool = False,
) -> QuerySet[Alert]:
    """Return alerts, newest first; None or "" narrows nothing down. `severity` is the least.

    Suspicions, what came of them to nothing, and shadow alerts are listed only `to_curator`, and only when
    asked for by state, or by `shadow`. Raises Invalid on a word that nobody knows, UnknownPumpModel.
    """
    if shadow and not to_curator:
        raise unmeant("shadow", "is for curators", "Leave it out: a rule on trial tells nobody.")
    known = STATES if to_curator else ("open", *TOLD_STATES)
    if state and state not in known:
        raise Invalid(
            f"There is no state '{state[:60]}'",
            hint=f"Known: {', '.join(known)}.",
            faults=(Fault("not a known state", field="state"),),
        )
    alerts = Alert.objects.select_related("note").filter(shadow=shadow).order_by("-id")
    if state:
        alerts = alerts.filter(state__in=OPEN if state == "open" else [state])
    else:
        alerts = alerts.exclude(state__in=UNTOLD)
    if model:
        alerts = alerts.filter(pump_model=find_pump_model(model))
    if rule:
        alerts = alerts.filter(rule=rule_of(rule))
    if severity:
        alerts = alerts.filter(severity__in=at_least(severity))
    return alerts.filter(clinic=find_clinic(clinic)) if clinic else alerts


def mark_seen(alert_id: int) -> Alert:
    """Note that somebody has looked at a raised alert. Raises NotFound; Conflict when it is closed."""
    with transaction.atomic():
        alert = _locked(alert_id)
        alert.state = AlertState.SEEN
        alert.save(update_fields=["state", "changed_at"])
    return alert


def dismiss(alert_id: int, reason: str, note: str = "", *, by: str = "") -> Alert:
    """Close an alert that is none, or not worth telling, with a reason of `DismissReason`.

    `note` is the curator's own words, for curators only; the reason `other` needs one. Raises Invalid,
    NotFound; Conflict when the alert is closed.
    """
    note = " ".join(note.split())
    _check(reason, note)
    with transaction.atomic():
        alert = _locked(alert_id)
        alert.state, alert.reason = AlertState.DISMISSED, reason
        alert.closed_at, alert.closed_why = timezone.now(), str(DismissReason(reason).label)
        alert.save(update_fields=["state", "reason", "closed_at", "closed_why", "changed_at"])
        if note:
            AlertNote.objects.create(alert=alert, text=note, by=by[:200])
        if not alert.shadow:
            announce(alert, "dismissed")
    return Alert.objects.select_related("note").get(pk=alert.pk)


def _check(reason: str, note: str) -> None:
    if reason not in DismissReason.values:
        raise Invalid(
            "An alert is dismissed with a reason",
            hint=f"One of: {', '.join(DismissReason.values)}. It teaches the rule.",
            faults=(Fault("not a known reason", field="reason"),),
        )
    if len(note) > _NOTE_LONGEST or (note and not note.isprintable()):
        raise Invalid(
            "note: is too long or not text",
            hint=f"Up to {_NOTE_LONGEST} characters of plain text.",
            faults=(Fault("is too long or not text", field="note"),),
        )
    if reason == DismissReason.OTHER and not note:
        raise Invalid(
            "The reason 'other' is told in a note",
            hint="Say in a few words in 'note' why the alert is none.",
            faults=(Fault("is needed with the reason 'other'", field="note"),),
        )


def _locked(alert_id: int) -> Alert:
    alert = Alert.objects.select_for_update().filter(pk=alert_id).exclude(state__in=UNTOLD).first()
    if alert is None:
        raise NotFound(f"There is no alert {alert_id}")
    if alert.state not in OPEN:
        raise Conflict(f"Alert {alert_id} is already {alert.state}", hint="Only open alerts change.")
    return alert
