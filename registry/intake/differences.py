"""What a catalogue file says otherwise than the catalogue, as corrections to propose."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.errors import Conflict, Fault, Invalid
from registry.intake.proposals import propose
from registry.intake.records import said_of_revision
from registry.models import Operator, Proposal, PumpModel, Revision, SerialScheme
from registry.models.serials import place

Entry = Mapping[str, Any]
_SCHEME = ("pattern", "order", "date", "plant", "era")
_SPAN = ("first", "last", "basis")


def propose_differences(operator: Operator, declared: Entry, why: str) -> list[Proposal]:
    """Propose, model by model, what `declared` says otherwise than the catalogue; one proposal a model.

    `declared` is as `registry.intake.catalogue.load_catalogue` takes it. Only models that are stored can be
    corrected; claims are no part of it. Raises Invalid for a model that is not stored, Conflict when nothing
    differs, and what `propose` raises; then nothing is proposed.
    """
    changes = []
    for index, entry in enumerate(declared["pump_model"]):
        model = PumpModel.objects.filter(name__iexact=" ".join(entry["name"].split())).first()
        if model is None:
            raise Invalid(
                f"{entry['name']} is not in the catalogue yet",
                hint="A new model needs no second curator: load the file without proposing.",
                faults=(Fault("is not stored", field=f"pump_model[{index}].name"),),
            )
        change = difference(model, entry)
        if change:
            changes.append((model, change))
    if not changes:
        raise Conflict("The catalogue says all of this already", hint="Nothing is left to propose.")
    return [propose(operator, model.name, {**change, "why": why}) for model, change in changes]


def difference(model: PumpModel, entry: Entry) -> dict[str, Any]:
    """Return the change that brings a stored model to a file's entry; empty when it says the same."""
    schemes = list(model.serial_schemes.all())
    change: dict[str, Any] = {}
    listed = entry.get("serial_scheme")
    if listed is not None and [_scheme(vars(s)) for s in schemes] != [_scheme(s) for s in listed]:
        change["schemes"] = [dict(scheme) for scheme in listed]
        schemes = [SerialScheme(pump_model=model, **_scheme(scheme)) for scheme in listed]
    known = {revision.label.casefold(): revision for revision in model.revisions.prefetch_related("spans")}
    parts: dict[str, list[dict[str, Any]]] = {"revisions": [], "spans": [], "dropped_spans": []}
    for said in entry.get("revision", ()):
        stored = known.get(said["label"].casefold())
        _compare(stored, said, schemes, parts)
    return change | {name: rows for name, rows in parts.items() if rows}


def _scheme(said: Entry) -> dict[str, Any]:
    empty: dict[str, Any] = {"date": {}, "plant": "", "era": None}
    return {name: said.get(name) or empty.get(name) for name in _SCHEME}


def _compare(
    stored: Revision | None,
    said: Entry,
    schemes: Sequence[SerialScheme],
    parts: Mapping[str, list[dict[str, Any]]],
) -> None:
    """Add to `parts` what a file's revision says otherwise than the stored one."""
    values = said_of_revision(said)
    if stored is None or any(getattr(stored, name) != value for name, value in values.items()):
        parts["revisions"].append({"label": said["label"], **values})
    if said.get("span") is None:
        return
    wanted = {_span_key(span, schemes): span for span in said["span"]}
    there = {(s.first, s.last, s.basis): s for s in stored.spans.all()} if stored else {}
    label = stored.label if stored else said["label"]
    parts["spans"].extend(
        {**span, "revision": label}
        for key, span in wanted.items()
        if key not in there or there[key].source != span["source"]
    )
    parts["dropped_spans"].extend(
        {"revision": label, **dict(zip(_SPAN, key, strict=True))} for key in there if key not in wanted
    )


def _span_key(span: Entry, schemes: Sequence[SerialScheme]) -> tuple[str, str, str]:
    first, last = (place(span[end], schemes) for end in ("first", "last"))
    return first.serial if first else span["first"], last.serial if last else span["last"], span["basis"]
