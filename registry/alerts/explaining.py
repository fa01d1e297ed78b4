"""Why something did or did not raise an alert: what every rule last made of it, and what it was short of."""

from typing import Any

from django.db.models import Q, QuerySet

from registry.alerts.judgements import ALARM, WHY
from registry.alerts.rules import all_rulings
from registry.alerts.stages import stages_of
from registry.alerts.withheld import as_told
from registry.answers import cautions
from registry.answers.typed import Ambiguous, OpenEnd, read_typed
from registry.errors import Fault, Invalid, NotFound
from registry.models import (
    Alert,
    AlertState,
    Clinic,
    Gauge,
    Judgement,
    Operator,
    PumpModel,
    Run,
    RunState,
    Unit,
    UnitSummary,
)
from registry.models.lookup import find_pump_model
from registry.models.serials import canonical, place, tidy

NOT_LOOKED_AT = "not looked at"
NOT_ENOUGH = "not enough data"
_OUTCOMES = {"clear": "nothing stands out", "between": "between the limits", "unjudged": NOT_ENOUGH}
_KINDS = ("unit", "gauge", "clinic", "revision", "claim", "pump_model")


def explain_run(run_id: int, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a run's unit, gauge, clinic and build. Raises NotFound."""
    run = Run.objects.select_related("session", "unit__pump_model", "clinic").filter(pk=run_id).first()
    if run is None:
        raise NotFound(f"There is no run {run_id}")
    about = {"run": run.pk, "state": str(run.state)}
    notes = []
    if run.state == RunState.HELD:
        notes.append("The run is held: no rule looks at it until what holds it is settled.")
    if run.state == RunState.WITHDRAWN:
        notes.append("The run is withdrawn: no rule looks at it.")
    if run.session.gauge_id is None:
        notes.append("Its gauge is not declared: rules about gauges and units leave its figures out.")
    gauges = [] if run.session.gauge_id is None else [run.session.gauge_id]
    return _document(run.unit, gauges, [run.clinic_id], about, notes, reader)


def explain_unit(model: str, serial: str, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a unit, its serial as a person types it, and of all that read it.

    Raises UnknownPumpModel, NotFound for a unit nobody has measured, and Invalid where the serial may be two.
    """
    pump_model = find_pump_model(model)
    units = Unit.objects.select_related("pump_model").filter(pump_model=pump_model)
    unit = units.filter(serial=_plainly(pump_model, serial)).first()
    unit = unit or units.filter(serial=_boldly(pump_model, serial)).first()
    if unit is None:
        raise NotFound(f"No clinic has measured {pump_model.name} {serial[:60]}")
    read = UnitSummary.objects.filter(unit=unit).order_by()
    gauges = [gauge for gauge in read.values_list("gauge", flat=True).distinct() if gauge is not None]
    clinics = list(read.values_list("clinic", flat=True).distinct())
    notes = [] if clinics else ["None of its runs counts: they are held or withdrawn."]
    return _document(unit, gauges, clinics, {}, notes, reader)


def _plainly(pump_model: PumpModel, serial: str) -> str:
    typed = tidy(serial)
    try:
        return canonical(typed, place(typed, pump_model.serial_schemes.all()))
    except ValueError:  # no serial could be written so, hence no unit has it
        return ""


def _boldly(pump_model: PumpModel, serial: str) -> str:
    """The serial that is meant where O and 0, or I, L and 1, were taken for one another; "" for none."""
    try:
        reading = read_typed(serial, None, list(pump_model.serial_schemes.all()))
    except Ambiguous as unsure:
        raise Invalid(
            f"'{serial.strip()[:60]}' can be read as {unsure}",
            hint="Type the serial in full as the label has it.",
            faults=(Fault("can be read in more than one way", field="serial"),),
        ) from None
    except OpenEnd:
        return ""
    return reading.first.serial if reading and reading.first.serial == reading.last.serial else ""


def explain_gauge(clinic: str, code: str, reader: Operator | None) -> dict[str, Any]:
    """Return the `explanations` document of a clinic's gauge and of its clinic. Raises NotFound."""
    gauge = Gauge.objects.filter(clinic__code__iexact=clinic, code__iexact=code).first()
    if gauge is None:
        raise NotFound(f"There is no gauge {clinic[:40]}/{code[:40]}")
    return _document(None, [gauge.pk], [gauge.clinic_id], {}, [], reader)


def explain(
    *,
    run: int | None = None,
    model: str = "",
    serial: str = "",
    gauge: str = "",
    reader: Operator | None = None,
) -> dict[str, Any]:
    """Explain a run, a unit (`model` and `serial`) or a `gauge` (CLINIC/CODE), as `reader` may see it.

    Raises Invalid for anything else.
    """
    asked = [run is not None, bool(model or serial), bool(gauge)]
    if sum(asked) != 1 or bool(model) != bool(serial):
        raise Invalid(
            "Ask about one thing",
            hint="Give run, or model and serial, or gauge as CLINIC/CODE.",
            faults=(Fault("give run, or model and serial, or gauge", field="run"),),
        )
    if run is not None:
        return explain_run(run, reader)
    if gauge:
        clinic, _, code = gauge.rpartition("/")
        return explain_gauge(clinic, code, reader)
    return explain_unit(model, serial, reader)


def _document(
    unit: Unit | None,
    gauges: list[int],
    clinics: list[int],
    about: dict[str, Any],
    notes: list[str],
    reader: Operator | None,
) -> dict[str, Any]:
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
