"""Load the catalogue from its declaration: only what differs is written, and history is kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import pghistory
from django.db import IntegrityError, connection, models, transaction

from registry.errors import Conflict, Fault, Invalid, SpansOverlap
from registry.intake.spans import DraftSpan, apply_spans, draft_spans
from registry.intake.units import resolve_again
from registry.intake.withdraw import look_again_at_model
from registry.models import Claim, Maker, Operator, PumpModel, Revision, SerialScheme
from registry.models.serials import check_scheme

M = TypeVar("M", bound=models.Model)


@dataclass(frozen=True)
class Change:
    """What loading did to one record: created, changed, removed or unchanged."""

    kind: str
    name: str
    action: str


def load_catalogue(declared: Mapping[str, Any], operator: Operator) -> list[Change]:
    """Bring the catalogue to what `declared` says and return what was done, record by record.

    `declared` is {"pump_model": [...]} with its types checked. Records it does not name stay, save the spans
    of a revision whose list of spans it gives: that list replaces the stored one. All of it happens or none.
    Raises Invalid or SpansOverlap naming the entry at fault.
    """
    changes: list[Change] = []
    try:
        with transaction.atomic(), pghistory.context(operator=operator.handle):
            for index, entry in enumerate(declared["pump_model"]):
                changes += _load_model(entry, f"pump_model[{index}]", operator)
            with connection.cursor() as cursor:
                cursor.execute("SET CONSTRAINTS declared_spans_apart IMMEDIATE")
    except IntegrityError as error:
        if "declared_spans_apart" in str(error):
            raise SpansOverlap(
                "Two declared spans would overlap",
                hint="Another curator may have loaded one just now; look again.",
            ) from error
        raise Conflict(
            "Two entries want the same name, label or order",
            hint="Give each revision of a model its own label and order.",
            faults=(Fault(str(error).splitlines()[0]),),
        ) from error
    return changes


def _load_model(entry: Mapping[str, Any], path: str, operator: Operator) -> list[Change]:
    maker, said_maker = _bring(Maker, {"name": entry["maker"]}, {})
    model, said_model = _bring(PumpModel, {"name": entry["name"]}, {"maker": maker})
    schemes, said_schemes = _load_schemes(model, entry.get("serial_scheme", []), path)
    revisions, said_revisions = _load_revisions(model, entry.get("revision", []))
    drafts: list[DraftSpan] = []
    for revision, listed, place in revisions:
        drafts += draft_spans(revision, listed, schemes, f"{path}.{place}")
    replaced = [revision for revision, listed, _ in revisions if listed is not None]
    said_spans = [Change("span", *what) for what in apply_spans(model, replaced, drafts, operator)]
    said_claims = _load_claims(model, entry.get("claim", []), operator)
    changes = [said_maker, said_model, *said_schemes, *said_revisions, *said_spans, *said_claims]
    if any(c.kind in ("span", "serial_scheme") and c.action != "unchanged" for c in changes):
        resolve_again(model)
        look_again_at_model(model)
    return changes


def _load_schemes(
    model: PumpModel, entries: Sequence[Mapping[str, Any]], path: str
) -> tuple[list[SerialScheme], list[Change]]:
    faults = []
    for index, entry in enumerate(entries):
        wrong = check_scheme(entry["pattern"], entry["order"])
        if wrong:
            faults.append(Fault(wrong, field=f"{path}.serial_scheme[{index}]"))
    if faults:
        raise Invalid("; ".join(f.message for f in faults), faults=tuple(faults))
    changes = [
        _bring(
            SerialScheme,
            {"pump_model": model, "pattern": entry["pattern"]},
            {"order": list(entry["order"]), "position": index},
        )[1]
        for index, entry in enumerate(entries)
    ]
    return list(model.serial_schemes.all()), changes


def _load_revisions(
    model: PumpModel, entries: Sequence[Mapping[str, Any]]
) -> tuple[list[tuple[Revision, Sequence[Mapping[str, Any]] | None, str]], list[Change]]:
    loaded, changes = [], []
    for index, entry in enumerate(entries):
        values = {
            "order": entry["order"],
            "firmware": list(entry.get("firmware", [])),
            "marks": dict(entry.get("marks", {})),
        }
        revision, change = _bring(Revision, {"pump_model": model, "label": entry["label"]}, values)
        loaded.append((revision, entry.get("span"), f"revision[{index}]"))
        changes.append(change)
    return loaded, changes


def _load_claims(model: PumpModel, entries: Sequence[Mapping[str, Any]], operator: Operator) -> list[Change]:
    changes = []
    for entry in entries:
        names = ("metric", "relation", "mode", "programme", "level", "source")
        key = {"pump_model": model} | {name: entry.get(name, "") for name in names}
        values = {"value": entry["value"], "unit": entry["unit"]}
        changes.append(_bring(Claim, key, values, born={"said_by": operator})[1])
    return changes


def _bring(
    kind: type[M], key: dict[str, Any], values: dict[str, Any], born: dict[str, Any] | None = None
) -> tuple[M, Change]:
    """Make the record of `key` hold `values`, writing only when it does not; `born` is set on a new one."""
    names = {Maker: "maker", PumpModel: "pump_model", SerialScheme: "serial_scheme", Claim: "claim"}
    record: M
    record, is_new = models.QuerySet(kind).get_or_create(**key, defaults=values | (born or {}))
    differing = [] if is_new else [name for name, value in values.items() if getattr(record, name) != value]
    for name in differing:
        setattr(record, name, values[name])
    if differing:
        record.save(update_fields=differing)
    action = "created" if is_new else "changed" if differing else "unchanged"
    return record, Change(names.get(kind, "revision"), str(record), action)
