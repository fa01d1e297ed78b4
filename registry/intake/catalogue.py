"""Load the catalogue from its declaration: only what differs is written, and history is kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

import pghistory
from django.db import IntegrityError, connection, models, transaction

from registry.alerts.tasks import want_checks
from registry.errors import Conflict, Fault, Invalid
from registry.intake.doubles import refuse_doubles
from registry.intake.locks import lock_models_for_load
from registry.intake.rejudge import rejudge_model
from registry.intake.spans import DraftSpan, apply_spans, draft_spans
from registry.intake.units import resolve_again
from registry.models import Claim, Maker, Operator, PumpModel, Revision, SerialScheme
from registry.models.serials import check_scheme

M = TypeVar("M", bound=models.Model)
Entry = Mapping[str, Any]


@dataclass(frozen=True)
class Change:
    """What loading did to one record: created, changed, removed or unchanged."""

    kind: str
    name: str
    action: str


def load_catalogue(declared: Entry, operator: Operator) -> list[Change]:
    """Bring the catalogue to what `declared` says and return what was done, record by record.

    `declared` is {"pump_model": [...]} with its types checked. Models and revisions it does not name stay.
    A list of schemes, claims, or of a revision's spans replaces the stored one; an absent list leaves it.
    All of it happens or none. Raises Invalid, Conflict or SpansOverlap naming the entry at fault.
    """
    entries = [{**entry, "name": _tidy(entry["name"])} for entry in declared["pump_model"]]
    refuse_doubles(entries)
    changes: list[Change] = []
    gauges: set[int | None] = set()
    try:
        with transaction.atomic(), pghistory.context(operator=operator.handle):
            _constraints("DEFERRED")
            lock_models_for_load(entry["name"] for entry in entries)
            for index, entry in enumerate(entries):
                changes += _load_model(entry, f"pump_model[{index}]", operator, gauges)
            _constraints("IMMEDIATE")
            want_checks(gauges)
    except IntegrityError as error:
        raise Conflict(
            "Two entries want the same label or order",
            hint="Give each revision of a model its own label and its own order, also beside those stored.",
        ) from error
    return changes


def _constraints(when: str) -> None:
    """Only the outcome of a load has to hold: borders and orders may change places on the way."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET CONSTRAINTS ALL {when}")


def _tidy(name: str) -> str:
    return " ".join(name.split())


def _load_model(entry: Entry, path: str, operator: Operator, gauges: set[int | None]) -> list[Change]:
    """Load one entry; `gauges` gathers those whose runs were held or set free by it."""
    maker, said_maker = _bring_maker(_tidy(entry["maker"]))
    model, said_model = _bring_model(entry["name"], maker, path)
    schemes, said_schemes = _load_schemes(model, entry.get("serial_scheme"), path)
    revisions, said_revisions = _load_revisions(model, entry.get("revision", []))
    drafts: list[DraftSpan] = []
    for revision, listed, place in revisions:
        drafts += draft_spans(revision, listed, schemes, f"{path}.{place}")
    replaced = [revision for revision, listed, _ in revisions if listed is not None]
    said_spans = [Change("span", *what) for what in apply_spans(model, schemes, replaced, drafts, operator)]
    changes = [said_maker, said_model, *said_schemes, *said_revisions, *said_spans]
    if any(c.kind in ("span", "serial_scheme") and c.action != "unchanged" for c in changes):
        gauges |= _go_by(model, schemes)
    return [*changes, *_load_claims(model, entry.get("claim"), operator)]


def _bring_maker(name: str) -> tuple[Maker, Change]:
    known = Maker.objects.filter(name__iexact=name).first()
    if known is not None:
        return known, Change("maker", known.name, "unchanged")
    return Maker.objects.create(name=name), Change("maker", name, "created")


def _bring_model(name: str, maker: Maker, path: str) -> tuple[PumpModel, Change]:
    """A name is one model, whatever its capitals; it never moves to another maker unnoticed."""
    model = PumpModel.objects.select_related("maker").filter(name__iexact=name).first()
    if model is None:
        return PumpModel.objects.create(name=name, maker=maker), Change("pump_model", name, "created")
    if model.maker_id != maker.pk:
        raise Conflict(
            f"{model.name} is stored under the maker {model.maker.name}",
            hint="Correct the maker, or give the other maker's model a name that tells them apart.",
            faults=(Fault(f"is sold by {model.maker.name}", field=f"{path}.maker"),),
        )
    return model, Change("pump_model", model.name, "unchanged")


def _load_schemes(
    model: PumpModel, entries: Sequence[Entry] | None, path: str
) -> tuple[list[SerialScheme], list[Change]]:
    if entries is None:
        return list(model.serial_schemes.all()), []
    faults = []
    for index, entry in enumerate(entries):
        wrong = check_scheme(entry["pattern"], entry["order"])
        if wrong:
            faults.append(Fault(wrong, field=f"{path}.serial_scheme[{index}]"))
    if faults:
        raise Invalid("; ".join(f.message for f in faults), faults=tuple(faults))
    stored = list(model.serial_schemes.all())
    brought = [
        _bring(
            SerialScheme,
            {"pump_model": model, "pattern": entry["pattern"]},
            {"order": list(entry["order"]), "position": index},
        )
        for index, entry in enumerate(entries)
    ]
    schemes = [scheme for scheme, _ in brought]
    removed = [Change("serial_scheme", old.pattern, "removed") for old in stored if old not in schemes]
    return schemes, [change for _, change in brought] + removed


def _go_by(model: PumpModel, schemes: Sequence[SerialScheme]) -> set[int | None]:
    """Let units and runs follow the new schemes and spans, then drop the schemes nothing uses any more."""
    model.catalogue_version += 1
    model.save(update_fields=["catalogue_version"])
    resolve_again(model, schemes)
    for scheme in model.serial_schemes.exclude(pk__in=[scheme.pk for scheme in schemes]):
        scheme.delete()
    return rejudge_model(model)


def _load_revisions(
    model: PumpModel, entries: Sequence[Entry]
) -> tuple[list[tuple[Revision, Sequence[Entry] | None, str]], list[Change]]:
    loaded, changes = [], []
    for index, entry in enumerate(entries):
        values = {
            "order": entry["order"],
            "firmware": list(entry.get("firmware", [])),
            "marks": dict(entry.get("marks", {})),
        }
        known = model.revisions.filter(label__iexact=entry["label"]).first()
        label = known.label if known else entry["label"]
        revision, change = _bring(Revision, {"pump_model": model, "label": label}, values)
        loaded.append((revision, entry.get("span"), f"revision[{index}]"))
        changes.append(change)
    return loaded, changes


def _load_claims(model: PumpModel, entries: Sequence[Entry] | None, operator: Operator) -> list[Change]:
    if entries is None:
        return []
    stored = list(model.claims.all())
    brought = []
    for entry in entries:
        names = ("metric", "relation", "mode", "programme", "level", "source")
        key = {"pump_model": model} | {name: entry.get(name, "") for name in names}
        values = {"value": entry["value"], "unit": entry["unit"]}
        brought.append(_bring(Claim, key, values, born={"said_by": operator}))
    kept = {claim.pk for claim, _ in brought}
    gone = [claim for claim in stored if claim.pk not in kept]
    removed = [Change("claim", str(claim), "removed") for claim in gone]
    for claim in gone:
        claim.delete()
    return [change for _, change in brought] + removed


def _bring(
    kind: type[M], key: dict[str, Any], values: dict[str, Any], born: dict[str, Any] | None = None
) -> tuple[M, Change]:
    """Make the record of `key` hold `values`, writing only when it does not; `born` is set on a new one."""
    names = {SerialScheme: "serial_scheme", Claim: "claim", Revision: "revision"}
    record: M
    record, is_new = models.QuerySet(kind).get_or_create(**key, defaults=values | (born or {}))
    differing = [] if is_new else [name for name, value in values.items() if getattr(record, name) != value]
    for name in differing:
        setattr(record, name, values[name])
    if differing:
        record.save(update_fields=differing)
    action = "created" if is_new else "changed" if differing else "unchanged"
    return record, Change(names[kind], str(record), action)
