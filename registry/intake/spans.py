"""Serial spans as declared: read against the schemes, checked for overlap, and written where they differ."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.errors import Fault, Invalid, SpansOverlap
from registry.models import Operator, PumpModel, Revision, SerialScheme, SerialSpan
from registry.models.serials import Place, place


@dataclass(frozen=True)
class DraftSpan:
    """A span that is asked for; `first` and `last` are comparable and in order."""

    revision: Revision
    first: Place
    last: Place
    basis: str
    source: str

    @property
    def columns(self) -> dict[str, Any]:
        """The stored columns beside the ones that tell spans apart."""
        keys = NumericRange(self.first.key, self.last.key, "[]")
        return {"scheme": self.first.scheme, "series": self.first.series, "keys": keys, "source": self.source}


def draft_spans(
    revision: Revision, listed: Sequence[Mapping[str, Any]] | None, schemes: Sequence[SerialScheme], path: str
) -> list[DraftSpan]:
    """Return the spans `listed` for a revision. Raises Invalid naming each that no scheme can place."""
    drafts, faults = [], []
    for index, entry in enumerate(listed or ()):
        first, last = place(entry["first"], schemes), place(entry["last"], schemes)
        wrong = _wrong(first, last)
        if wrong or first is None or last is None:
            faults.append(Fault(wrong, field=f"{path}.span[{index}]"))
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


def apply_spans(
    model: PumpModel,
    schemes: Sequence[SerialScheme],
    replaced: Sequence[Revision],
    drafts: Sequence[DraftSpan],
    operator: Operator,
) -> Iterator[tuple[str, str]]:
    """Make `drafts` the spans of the `replaced` revisions; yields (name, action) for each span touched.

    Spans of other revisions stay and are read by the `schemes` too, so that no stored span is left at a
    place its serials no longer have. Raises Invalid for one that no scheme places any more, and SpansOverlap
    naming the first two declared spans that overlap.
    """
    spans = model.serial_spans.select_related("revision", "scheme").order_by("keys", "pk")
    stored = {_identity(span): span for span in spans}
    wanted = {(d.revision.pk, d.first.serial, d.last.serial, d.basis): d for d in drafts}
    dropped = {key for key, span in stored.items() if span.revision in replaced and key not in wanted}
    kept = {key: _draft(span, schemes) for key, span in stored.items() if key not in dropped | wanted.keys()}
    _check_apart([*wanted.values(), *kept.values()])
    for key in dropped:
        yield f"{stored[key]} ({stored[key].revision.label})", "removed"
        stored[key].delete()
    for key, draft in (wanted | kept).items():
        action = _write(stored.get(key), draft, model, operator)
        if key in wanted or action != "unchanged":
            yield f"{draft.first.serial} to {draft.last.serial} ({draft.revision.label})", action


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


def _identity(span: SerialSpan) -> tuple[int, str, str, str]:
    return span.revision_id, span.first, span.last, span.basis


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
