"""Turn an alert of an unlisted revision into a proposal: a new revision with spans, the old one's cut."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import groupby
from typing import Any

from django.db import transaction
from django.db.models import F

from registry.alerts import unlisted
from registry.alerts.listed import PROPOSED, note_listing
from registry.errors import Conflict, Invalid, NotFound
from registry.errors import Fault as FieldFault
from registry.intake.proposals import propose
from registry.models import Alert, AlertState, Operator, Proposal, ProposalState, Revision, SerialSpan

_OPEN = (AlertState.RAISED, AlertState.SEEN)
Spans = list[dict[str, str]]


@dataclass(frozen=True)
class Seen:
    """A unit of the old revision in serial order, and whether it is of the new one."""

    serial: str
    key: Decimal
    changed: bool


def list_revision(
    alert_id: int,
    operator: Operator,
    label: str,
    *,
    order: int | None = None,
    marks: Mapping[str, str] | None = None,
    basis: str = "observed",
) -> Proposal:
    """Propose the revision an alert speaks of under a label; another curator confirms it.

    The new revision comes after the old one unless `order` says otherwise. Its spans run from the first
    changed unit to the last one seen, without an order from one changed unit to the next; those of the old
    revision end before. Raises NotFound, NotPermitted, Invalid for a label that is taken, Conflict for an
    alert that is closed, that is of another rule, or from which a revision is proposed already.
    """
    with transaction.atomic():
        alert = _locked(alert_id)
        old = _revision(alert)
        if old.pump_model.revisions.filter(label__iexact=label.strip()).exists():
            raise Invalid(
                f"{old.pump_model.name} has a revision {label.strip()} already",
                hint="Choose a label of its own for the new revision.",
                faults=(FieldFault("is taken", field="label"),),
            )
        entry: dict[str, Any] = {"label": label.strip(), "order": order, "marks": dict(marks or {})}
        change = change_for(old, entry, alert.evidence, f"alert {alert.pk}", basis)
        proposal = propose(
            operator, old.pump_model.name, {**change, "why": f"alert {alert.pk}: {alert.says}"}
        )
        note_listing(alert, proposal.pk, label.strip())
    return proposal


def change_for(
    old: Revision, entry: Mapping[str, Any], evidence: Mapping[str, Any], source: str, basis: str
) -> dict[str, Any]:
    """The change to propose, but for why (see `registry.intake.proposals.propose`).

    Raises Conflict where no changed unit's serial has a place.
    """
    new: Spans = []
    kept: Spans = []
    dropped: Spans = []
    for (scheme, series), units in _units(old, evidence).items():
        new += [
            {"revision": entry["label"], "first": a, "last": b, "basis": basis, "source": source}
            for a, b in _stretches(units, changed=True)
        ]
        for span in old.spans.filter(scheme=scheme, series=series):
            within = [unit for unit in units if span.keys.lower <= unit.key <= _last_key(span)]
            if any(unit.changed for unit in within):
                said = {"revision": old.label, "basis": span.basis}
                dropped.append({**said, "first": span.first, "last": span.last})
                kept += [
                    {**said, "first": a, "last": b, "source": span.source} for a, b in _left(span, within)
                ]
    if not new:
        raise Conflict(
            "None of the changed units has a serial that a scheme reads",
            hint="Declare how serials of this model are read, then list the revision from this alert.",
        )
    revisions = [_in_order(old, entry), *_moved_up(old, entry)]
    return {"revisions": revisions, "spans": [*kept, *new], "dropped_spans": dropped}


def _in_order(old: Revision, entry: Mapping[str, Any]) -> dict[str, Any]:
    order = entry["order"] if entry.get("order") is not None else old.order + 1
    return {"label": entry["label"], "order": order, "marks": entry.get("marks") or {}}


def _moved_up(old: Revision, entry: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Later revisions make room where the new one's place is taken."""
    order = _in_order(old, entry)["order"]
    later = list(old.pump_model.revisions.filter(order__gte=order).order_by("order"))
    moved = []
    for revision in later:
        if revision.order > order:
            break
        order = revision.order + 1
        moved.append({"label": revision.label, "order": order})
    return moved


def _units(old: Revision, evidence: Mapping[str, Any]) -> dict[tuple[int, str], list[Seen]]:
    """Units of the old revision in serial order, by scheme and series, where any has changed."""
    placed = old.units.filter(key__isnull=False, scheme__isnull=False).order_by("key", "serial")
    read = placed.values_list("scheme", "series", "key", "serial")
    rows = [(sort, series, key, serial) for sort, series, key, serial in read if sort and key is not None]
    first = next((row for row in rows if row[3] == evidence["first_changed"]), None)
    along_serial = evidence["along"] == "serial" and first is not None
    named = set(evidence.get("changed_units", ()))
    found: dict[tuple[int, str], list[Seen]] = defaultdict(list)
    for scheme, series, key, serial in rows:
        later = first is not None and (scheme, series) == first[:2] and key >= first[2]
        found[scheme, series].append(Seen(serial, key, later if along_serial else serial in named))
    return {place: units for place, units in found.items() if any(unit.changed for unit in units)}


def _stretches(units: Sequence[Seen], *, changed: bool) -> Iterator[tuple[str, str]]:
    """First and last serial of each run of units that changed, or that did not."""
    for key, run in groupby(units, key=lambda unit: unit.changed):
        if key is changed:
            alike = list(run)
            yield alike[0].serial, alike[-1].serial


def _left(span: SerialSpan, within: Sequence[Seen]) -> Iterator[tuple[str, str]]:
    """What is left of a span: its ends stay where the units there did not change."""
    stretches = list(_stretches(within, changed=False))
    for index, (first, last) in enumerate(stretches):
        begins = index == 0 and not within[0].changed
        ends = index == len(stretches) - 1 and not within[-1].changed
        yield (span.first if begins else first), (span.last if ends else last)


def _last_key(span: SerialSpan) -> Decimal:
    upper: Decimal = span.keys.upper
    return upper if span.keys.upper_inc else upper - 1


def _locked(alert_id: int) -> Alert:
    alert = Alert.objects.select_for_update().filter(pk=alert_id).first()
    if alert is None or alert.state == AlertState.SUSPECTED:
        raise NotFound(f"There is no alert {alert_id}")
    if alert.rule != unlisted.RULE.name:
        raise Conflict(f"Alert {alert_id} is not of an unlisted revision", hint="Only those list one.")
    if alert.state not in _OPEN:
        raise Conflict(f"Alert {alert_id} is already {alert.state}", hint="Only open alerts change.")
    before = alert.evidence.get(PROPOSED)
    if before and Proposal.objects.filter(pk=before["proposal"], state=ProposalState.OPEN).exists():
        raise Conflict(
            f"Proposal {before['proposal']} lists it as revision {before['revision']} already",
            hint="Confirm or reject that proposal.",
        )
    return alert


def _revision(alert: Alert) -> Revision:
    said = alert.evidence
    of_label = Revision.objects.select_related("pump_model").annotate(model_name=F("pump_model__name"))
    found = of_label.filter(model_name=said["pump_model"], label=said["revision"]).first()
    if found is None:
        raise Conflict(
            f"Revision {said['revision']} of {said['pump_model']} is called otherwise now",
            hint="The next scan tells of it anew.",
        )
    return found
