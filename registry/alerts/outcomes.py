"""What every rule last made of a unit, of gauges and of clinics, and what it was short of."""

from typing import Any

from django.db.models import Q, QuerySet

from registry.alerts.judgements import ALARM, WHY
from registry.alerts.rules import all_rulings
from registry.alerts.stages import stages_of
from registry.alerts.withheld import as_told
from registry.answers import cautions
from registry.models import Alert, AlertState, Clinic, Gauge, Judgement, Operator, Unit

NOT_LOOKED_AT = "not looked at"
NOT_ENOUGH = "not enough data"
_OUTCOMES = {"clear": "nothing stands out", "between": "between the limits", "unjudged": NOT_ENOUGH}


def outcomes(
    unit: Unit | None,
    gauges: list[int],
    clinics: list[int],
    about: dict[str, Any],
    notes: list[str],
    reader: Operator | None,
) -> dict[str, Any]:
    """Return the `explanations` document of a unit with its build, of gauges and of clinics (keys).

    `about` goes before it, `notes` are what is to be said besides. Figures are told as `reader` may see them.
    """
    where = Q(gauge__in=gauges, unit=None) | Q(clinic__in=clinics, gauge=None, unit=None)
    if unit is not None:
        where |= Q(unit=unit) | Q(
            unit=None, gauge=None, clinic=None, revision__isnull=False, revision=unit.revision_id
        )
        where |= Q(unit=None, gauge=None, clinic=None, revision=None, pump_model=unit.pump_model_id)
        if unit.revision_id is None:
            notes = [*notes, "Which build it is of is not known: it is held against no other units."]
    rows = _rows(Judgement.objects.filter(where), _subjects(unit, gauges, clinics), reader)
    return {
        **about,
        "unit": None if unit is None else {"pump_model": unit.pump_model.name, "serial": unit.serial},
        "rules": rows,
        "notes": notes,
        "says": _says(rows, notes),
        "cautions": list(cautions.ALERTS),
    }


def _subjects(unit: Unit | None, gauges: list[int], clinics: list[int]) -> dict[str, list[str]]:
    """What each rule would have had to look at, by kind, in the words alerts name it by."""
    names = {
        "gauge": [
            f"{clinic}/{code}"
            for clinic, code in Gauge.objects.filter(pk__in=gauges).values_list("clinic__code", "code")
        ],
        "clinic": list(Clinic.objects.filter(pk__in=clinics).values_list("code", flat=True)),
    }
    if unit is not None:
        names["unit"] = [f"{unit.pump_model.name[:79]}/{unit.serial}"]
        names["revision"] = [f"{unit.pump_model.name[:79]}/{unit.revision.label}"] if unit.revision else []
    return names


def _rows(
    judged: QuerySet[Judgement], subjects: dict[str, list[str]], reader: Operator | None
) -> list[dict[str, Any]]:
    """A row a rule and subject, in order of precedence; of versions that tell."""
    stages = stages_of(ruling.rule for ruling in all_rulings())
    rows: list[dict[str, Any]] = []
    for ruling in all_rulings():
        rule = ruling.rule
        if stages[rule.name, rule.version] != "live":
            continue
        looked_at = judged.filter(rule=rule.name, rule_version=rule.version)
        found = list(looked_at.select_related("gauge").order_by("subject"))
        open_alerts = {
            alert.subject: alert
            for alert in Alert.objects.filter(
                rule=rule.name, shadow=False, subject__in=[row.subject for row in found]
            ).order_by("id")
        }
        rows += [as_told(_row(row, open_alerts.get(row.subject)), row, reader) for row in found]
        unseen = set(subjects.get(rule.subject_kind, ())) - {row.subject for row in found}
        rows += [_unseen(rule.name, rule.version, rule.subject_kind, name) for name in sorted(unseen)]
    return rows


def _row(row: Judgement, alert: Alert | None) -> dict[str, Any]:
    evidence = dict(row.evidence)
    told = alert is not None and alert.state in (AlertState.RAISED, AlertState.SEEN, AlertState.DISMISSED)
    return {
        "rule": row.rule,
        "rule_version": row.rule_version,
        "subject": {row.subject_kind: row.subject},
        "outcome": _outcome(row, alert),
        "alert": alert.pk if alert is not None and told else None,
        "says": row.says,
        "lacks": row.lacks,
        "why": evidence.pop(WHY, []),
        "p": row.p,
        "q": row.q,
        "evidence": evidence,
        "looked_at": row.looked_at.isoformat(timespec="seconds"),
    }


def _outcome(row: Judgement, alert: Alert | None) -> str:
    """What came of it, in words. What cannot be judged is never called fine."""
    if alert is not None and alert.state in (AlertState.RAISED, AlertState.SEEN):
        return "alert"
    if row.standing != "off":
        return _OUTCOMES[row.standing]
    if alert is not None and alert.state == AlertState.DISMISSED:
        return "dismissed before, and has not grown since"
    if alert is not None and alert.state == AlertState.SUSPECTED:
        return "suspected: waits for runs that confirm it"
    return f"beyond the limits, but chance would do as much: {100 * ALARM:g} % false ones are allowed"


def _unseen(name: str, version: int, kind: str, subject: str) -> dict[str, Any]:
    lacks = "no accepted runs that this rule can use, or none looked at yet"
    return {
        "rule": name,
        "rule_version": version,
        "subject": {kind: subject},
        "outcome": NOT_LOOKED_AT,
        "alert": None,
        "says": f"Nothing is known of {subject} under this rule.",
        "lacks": lacks,
        "why": [],
        "p": None,
        "q": None,
        "evidence": {},
        "looked_at": None,
    }


def _says(rows: list[dict[str, Any]], notes: list[str]) -> str:
    count = {
        name: sum(row["outcome"] == name for row in rows) for name in ("alert", NOT_ENOUGH, NOT_LOOKED_AT)
    }
    fine = sum(row["outcome"] == _OUTCOMES["clear"] for row in rows)
    others = len(rows) - fine - sum(count.values())
    told = [
        f"{number} {what}"
        for number, what in (
            (count["alert"], "with an alert"),
            (fine, "where nothing stands out"),
            (others, "undecided"),
            (count[NOT_ENOUGH], "without enough data to judge"),
            (count[NOT_LOOKED_AT], "not looked at"),
        )
        if number
    ]
    return " ".join([*notes, f"Judgements: {', '.join(told) or 'none'}."])
