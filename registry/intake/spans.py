"""Serial spans as declared: read against the schemes, checked for overlap, and written where they differ."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.errors import Fault, Invalid, SpansOverlap
from registry.models import Operator, PumpModel, Revision, SerialScheme, SerialSpan
from registry.models.serials import Place, place

# Revision, first, last, basis: what tells the spans of a model apart.
Identity = tuple[int, str, str, str]


@dataclass(frozen=True)
class Extent:
    """A stretch of places within one series of one scheme; both ends may belong to it."""

    scheme: int
    series: str
    low: Decimal
    high: Decimal


class Touched:
    """A span that was looked at: its name, what was done to it, and the stretches that may read otherwise."""

    def __init__(self, name: str, action: str, *extents: Extent) -> None:
        self.name, self.action, self.extents = name, action, extents


@dataclass(frozen=True)
class DraftSpan:
    """A span that is asked for; `first` and `last` are comparable and in order."""

    revision: Revision
    first: Place
    last: Place
    basis: str
    source: str

    @property
    def identity(self) -> Identity:
        """What tells it from other spans."""
        return self.revision.pk, self.first.serial, self.last.serial, self.basis

    @property
    def extent(self) -> Extent:
        """The stretch it covers."""
        return Extent(self.first.scheme.pk, self.first.series, self.first.key, self.last.key)

    @property
    def columns(self) -> dict[str, Any]:
        """The stored columns beside the ones that tell spans apart."""
        keys = NumericRange(self.first.key, self.last.key, "[]")
        return {"scheme": self.first.scheme, "series": self.first.series, "keys": keys, "source": self.source}


def draft_spans(
    revision: Revision,
    listed: Sequence[Mapping[str, Any]] | None,
    schemes: Sequence[SerialScheme],
    fields: Sequence[str],
) -> list[DraftSpan]:
    """Return the spans `listed` for a revision; `fields` names the field of each.

    Raises Invalid naming each that no scheme can place.
    """
    drafts, faults = [], []
    for field, entry in zip(fields, listed or (), strict=True):
        first, last = place(entry["first"], schemes), place(entry["last"], schemes)
        wrong = _wrong(first, last)
        if wrong or first is None or last is None:
            faults.append(Fault(f"{entry['first']} to {entry['last']}: {wrong}", field=field))
            continue
        drafts.append(DraftSpan(revision, first, last, entry["basis"], entry["source"]))
    if faults:
        raise Invalid("; ".join(f.message for f in faults), faults=tuple(faults))
    return drafts


def _wrong(first: Place | None, last: Place | None) -> str:
    if first is None or last is None:
        return f"{'first' if first is None else 'last'} fits none of the model's serial schemes"
    if not first.comparable(last):
        return (
            "first and last differ in a part that does not order serials; give one span for each, "
            "or add that part to the scheme's order"
        )
    if first.key > last.key:
        return "first comes after last"
    return ""


def of_revisions(
    model: PumpModel, replaced: Sequence[Revision], drafts: Sequence[DraftSpan]
) -> set[Identity]:
    """Return which stored spans of the `replaced` revisions are gone when `drafts` are all they have."""
    wanted = {draft.identity for draft in drafts}
    return {identity_of(span) for span in model.serial_spans.filter(revision__in=replaced)} - wanted


def apply_spans(
    model: PumpModel,
    schemes: Sequence[SerialScheme],
    dropped: Collection[Identity],
    drafts: Sequence[DraftSpan],
    operator: Operator,
) -> Iterator[Touched]:
    """Take the `dropped` spans away and bring the `drafts`; yields each span touched.

    All other spans stay and are read by the `schemes` too, so that no stored span is left at a place its
    serials no longer have. Raises Invalid for one that no scheme places any more, and SpansOverlap naming
    the first two declared spans that overlap.
    """
    spans = model.serial_spans.select_related("revision", "scheme").order_by("keys", "pk")
    stored = {identity_of(span): span for span in spans}
    wanted = {draft.identity: draft for draft in drafts}
    gone = [key for key in stored if key in dropped and key not in wanted]
    kept = {
        key: _draft(span, schemes) for key, span in stored.items() if key not in dropped and key not in wanted
    }
    _check_apart([*wanted.values(), *kept.values()])
    for key in gone:
        span = stored[key]
        yield Touched(f"{span} ({span.revision.label})", "removed", _extent(span))
        span.delete()
    for key, draft in (wanted | kept).items():
        before = _extent(stored[key]) if key in stored else None
        action = _write(stored.get(key), draft, model, operator)
        if key in wanted or action != "unchanged":
            extents = () if action == "unchanged" else (before, draft.extent)
            yield Touched(
                f"{draft.first.serial} to {draft.last.serial} ({draft.revision.label})",
                action,
                *(extent for extent in extents if extent is not None),
            )


def _draft(span: SerialSpan, schemes: Sequence[SerialScheme]) -> DraftSpan:
    """A stored span as the schemes read it now."""
    first, last = place(span.first, schemes), place(span.last, schemes)
    wrong = _wrong(first, last)
    if wrong or first is None or last is None:
        raise Invalid(
            f"The stored span {span} of revision {span.revision.label} cannot be read any more: {wrong}",
            hint="List that revision with its spans as the new schemes read them.",
            faults=(Fault(wrong, field="serial_scheme"),),
        )
    return DraftSpan(span.revision, first, last, span.basis, span.source)


def identity_of(span: SerialSpan) -> Identity:
    """What tells a stored span from others."""
    return span.revision_id, span.first, span.last, span.basis


def _extent(span: SerialSpan) -> Extent:
    return Extent(span.scheme_id, span.series, span.keys.lower, span.keys.upper)


def _write(span: SerialSpan | None, draft: DraftSpan, model: PumpModel, operator: Operator) -> str:
    if span is None:
        SerialSpan.objects.create(
            pump_model=model,
            revision=draft.revision,
            first=draft.first.serial,
            last=draft.last.serial,
            basis=draft.basis,
            said_by=operator,
            **draft.columns,
        )
        return "created"
    columns = draft.columns
    differing = [name for name, value in columns.items() if getattr(span, name) != value]
    if not differing:
        return "unchanged"
    for name in differing:
        setattr(span, name, columns[name])
    if "source" in differing:
        span.said_by = operator
        differing.append("said_by")
    span.save(update_fields=differing)
    return "changed"


def _check_apart(drafts: Sequence[DraftSpan]) -> None:
    """The database holds declared spans apart as well; here the two at fault can be named."""
    declared = [draft for draft in drafts if draft.basis == "declared"]
    declared.sort(key=lambda d: (d.first.scheme.pk, d.first.series, d.first.key))
    for before, after in pairwise(declared):
        if before.first.comparable(after.first) and after.first.key <= before.last.key:
            names = [f"{d.first.serial} to {d.last.serial}" for d in (before, after)]
            raise SpansOverlap(
                f"The declared spans {names[0]} and {names[1]} overlap",
                hint="A serial can be declared as one revision only; shorten one of the two.",
                faults=(Fault(f"overlaps {names[0]}", field="span"),),
            )
