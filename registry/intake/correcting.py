"""Apply a correction to a model's revisions, schemes and spans, and let units and runs follow."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.errors import Conflict, Fault, Invalid
from registry.intake.records import Change, bring, said_of_revision
from registry.intake.rejudge import rejudge_model
from registry.intake.schemes import load_schemes
from registry.intake.spans import DraftSpan, Identity, Touched, apply_spans, draft_spans
from registry.intake.units import resolve_again
from registry.models import Operator, PumpModel, Revision, SerialScheme, SerialSpan
from registry.models.serials import place

Entry = Mapping[str, Any]
PARTS = ("revisions", "spans", "dropped_spans", "schemes")


def apply_change(
    model: PumpModel, change: Entry, operator: Operator
) -> tuple[list[Change], set[tuple[int, int | None]]]:
    """Bring a model to what a correction says; returns what was done and the gauges whose runs it moved.

    `change` is as `registry.intake.proposals.propose` takes it; the caller has the model alone. Raises
    Invalid, SpansOverlap, or Conflict for a span to drop that is not stored.
    """
    schemes, said_schemes = load_schemes(model, change.get("schemes"), "schemes")
    revisions, said_revisions = _bring_revisions(model, change.get("revisions") or ())
    dropped = _dropped(model, schemes, change.get("dropped_spans") or ())
    drafts = _drafts(model, revisions, change.get("spans") or (), schemes)
    touched = list(apply_spans(model, schemes, dropped, drafts, operator))
    gauges = go_by(model, schemes, said_schemes, touched)
    said_spans = [Change("span", span.name, span.action) for span in touched]
    return [*said_schemes, *said_revisions, *said_spans], gauges


def go_by(
    model: PumpModel,
    schemes: Sequence[SerialScheme],
    said_schemes: Sequence[Change],
    touched: Sequence[Touched],
) -> set[tuple[int, int | None]]:
    """Let units and runs follow new schemes and spans, then drop the schemes nothing uses any more.

    Where only spans changed, only the units within them are looked at. Returns the gauges whose runs were
    held or set free.
    """
    new_schemes = any(change.action != "unchanged" for change in said_schemes)
    extents = [extent for span in touched for extent in span.extents]
    if not new_schemes and not extents:
        return set()
    model.catalogue_version += 1
    model.save(update_fields=["catalogue_version"])
    resolve_again(model, schemes if new_schemes else None, extents)
    for scheme in model.serial_schemes.exclude(pk__in=[scheme.pk for scheme in schemes]):
        scheme.delete()
    return rejudge_model(model)


def _bring_revisions(model: PumpModel, entries: Sequence[Entry]) -> tuple[dict[str, Revision], list[Change]]:
    """The model's revisions by label, those listed brought to what is said; a new one comes last in order."""
    known = {revision.label.casefold(): revision for revision in model.revisions.all()}
    changes = []
    for entry in entries:
        stored = known.get(entry["label"].casefold())
        values = said_of_revision(entry)
        if stored is None:
            last = max((revision.order for revision in known.values()), default=0)
            values = {"order": last + 1, **values}
        label = stored.label if stored else " ".join(entry["label"].split())
        revision, said = bring(Revision, {"pump_model": model, "label": label}, values)
        known[label.casefold()] = revision
        changes.append(said)
    return known, changes


def _drafts(
    model: PumpModel,
    revisions: Mapping[str, Revision],
    entries: Sequence[Entry],
    schemes: Sequence[SerialScheme],
) -> list[DraftSpan]:
    drafts: list[DraftSpan] = []
    for index, entry in enumerate(entries):
        revision = revisions.get(entry["revision"].casefold())
        if revision is None:
            raise Invalid(
                f"{model.name} has no revision '{entry['revision']}'",
                hint="List it under revisions to bring it along.",
                faults=(Fault(f"no revision '{entry['revision']}'", field=f"spans[{index}].revision"),),
            )
        drafts += draft_spans(revision, [entry], schemes, [f"spans[{index}]"])
    return drafts


def _dropped(model: PumpModel, schemes: Sequence[SerialScheme], entries: Sequence[Entry]) -> set[Identity]:
    """Which stored spans are meant. Raises Conflict naming one that is not stored, or not any more."""
    stored = {}
    for span in model.serial_spans.select_related("revision"):
        stored[span.revision.label.casefold(), span.first, span.last, span.basis] = span
    return {_found(stored, schemes, entry, index) for index, entry in enumerate(entries)}


def _found(
    stored: Mapping[tuple[str, str, str, str], SerialSpan],
    schemes: Sequence[SerialScheme],
    entry: Entry,
    index: int,
) -> Identity:
    first, last = (_spelled(entry[end], schemes) for end in ("first", "last"))
    span = stored.get((entry["revision"].casefold(), first, last, entry["basis"]))
    if span is None:
        raise Conflict(
            f"No {entry['basis']} span {first} to {last} of revision {entry['revision']} is stored",
            hint="Look at the model's spans, and propose anew what is to be dropped.",
            faults=(Fault("is not stored", field=f"dropped_spans[{index}]"),),
        )
    return span.revision_id, span.first, span.last, span.basis


def _spelled(serial: str, schemes: Sequence[SerialScheme]) -> str:
    found = place(serial, schemes)
    return found.serial if found else serial
