"""Load the catalogue from its declaration: only what differs is written, and history is kept."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

import pghistory
from django.conf import settings
from django.db import IntegrityError, connection, transaction

from registry.alerts.tasks import want_checks
from registry.errors import Conflict, Fault
from registry.intake.correcting import go_by
from registry.intake.doubles import refuse_doubles
from registry.intake.locks import lock_models_for_load
from registry.intake.records import Change, bring, said_of_revision
from registry.intake.schemes import load_schemes
from registry.intake.spans import DraftSpan, apply_spans, draft_spans, of_revisions
from registry.models import Claim, Maker, Operator, PumpModel, Revision

Entry = Mapping[str, Any]


def load_catalogue(declared: Entry, operator: Operator) -> list[Change]:
    """Bring the catalogue to what `declared` says and return what was done, record by record.

    `declared` is {"pump_model": [...]} with its types checked. Models and revisions it does not name stay.
    A list of schemes, claims, or of a revision's spans, firmware tags or marks replaces the stored one; an
    absent list leaves it.
    All of it happens or none. Raises Invalid, Conflict or SpansOverlap naming the entry at fault.
    """
    entries = [{**entry, "name": _tidy(entry["name"])} for entry in declared["pump_model"]]
    refuse_doubles(entries)
    changes: list[Change] = []
    gauges: set[tuple[int, int | None]] = set()
    with changing([entry["name"] for entry in entries], operator=operator.handle):
        for index, entry in enumerate(entries):
            changes += _load_model(entry, f"pump_model[{index}]", operator, gauges)
        _refuse_corrections(changes)
        want_checks(gauges)
    return changes


def _refuse_corrections(changes: Sequence[Change]) -> None:
    """Where an installation wants corrections confirmed, a load may add spans only."""
    corrected = [c.name for c in changes if c.kind == "span" and c.action in ("changed", "removed")]
    if settings.VACUARY_CORRECTIONS_CONFIRMED and corrected:
        raise Conflict(
            f"The file corrects stored spans: {', '.join(corrected[:3])}",
            hint="Propose it to another curator: vacuary catalogue load FILE --propose --why ...",
        )


@contextmanager
def changing(models: Sequence[str], **who: str | int) -> Iterator[None]:
    """Have the models of these names alone for one change of the catalogue, all of it or none.

    `who` goes into the history of every record written within. Raises Conflict when the outcome gives two
    revisions one label or order.
    """
    try:
        with transaction.atomic(), pghistory.context(**who):
            # Only the outcome has to hold: borders and orders may change places on the way.
            _constraints("DEFERRED")
            lock_models_for_load(models)
            yield
            _constraints("IMMEDIATE")
    except IntegrityError as error:
        raise Conflict(
            "Two entries want the same label or order",
            hint="Give each revision of a model its own label and its own order, also beside those stored.",
        ) from error


def _constraints(when: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"SET CONSTRAINTS ALL {when}")


def _tidy(name: str) -> str:
    return " ".join(name.split())


def _load_model(
    entry: Entry, path: str, operator: Operator, gauges: set[tuple[int, int | None]]
) -> list[Change]:
    """Load one entry; `gauges` gathers those whose runs were held or set free by it."""
    maker, said_maker = _bring_maker(_tidy(entry["maker"]))
    model, said_model = _bring_model(entry["name"], maker, path)
    schemes, said_schemes = load_schemes(model, entry.get("serial_scheme"), f"{path}.serial_scheme")
    revisions, said_revisions = _load_revisions(model, entry.get("revision", []))
    drafts: list[DraftSpan] = []
    for revision, listed, place in revisions:
        fields = [f"{path}.{place}.span[{n}]" for n in range(len(listed or ()))]
        drafts += draft_spans(revision, listed, schemes, fields)
    replaced = [revision for revision, listed, _ in revisions if listed is not None]
    dropped = of_revisions(model, replaced, drafts)
    touched = list(apply_spans(model, schemes, dropped, drafts, operator))
    said_spans = [Change("span", span.name, span.action) for span in touched]
    gauges |= go_by(model, schemes, said_schemes, touched)
    changes = [said_maker, said_model, *said_schemes, *said_revisions, *said_spans]
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


def _load_revisions(
    model: PumpModel, entries: Sequence[Entry]
) -> tuple[list[tuple[Revision, Sequence[Entry] | None, str]], list[Change]]:
    loaded, changes = [], []
    for index, entry in enumerate(entries):
        known = model.revisions.filter(label__iexact=entry["label"]).first()
        label = known.label if known else entry["label"]
        revision, change = bring(Revision, {"pump_model": model, "label": label}, said_of_revision(entry))
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
        brought.append(bring(Claim, key, values, signed={"said_by": operator}))
    kept = {claim.pk for claim, _ in brought}
    gone = [claim for claim in stored if claim.pk not in kept]
    removed = [Change("claim", str(claim), "removed") for claim in gone]
    for claim in gone:
        claim.delete()
    return [change for _, change in brought] + removed
