"""Whether a run can count, by what is known beside its trace."""

from django.db.models import Q

from registry.intake import findings
from registry.intake.findings import Note
from registry.models import Revision, Run, RunState, SerialScheme, SerialSpan, Unit
from registry.models.serial_shapes import mended
from registry.models.serials import bare, place


def judge(
    unit: Unit,
    spans: list[SerialSpan],
    asserted: Revision | None,
    digest: str | None,
    side: str,
    column: str,
    run_id: int | None = None,
) -> tuple[Note, ...]:
    """Return intake's findings for a run of `unit` with that trace; `run_id` when it is stored already.

    Without a digest nobody asks whether the trace was seen before. The left and the right channel of one
    file are two runs of one trace, set apart by side and by `column`, the heading the vacuum was read from.
    """
    notes = []
    schemes = list(unit.pump_model.serial_schemes.all()) if unit.key is None else []
    if schemes:
        notes.append(findings.serial_unread(_meant(unit.serial, schemes)))
    contradiction = _contradiction(unit, spans, asserted)
    if contradiction:
        notes.append(contradiction)
    twin = _earlier_twin(digest, side, column, run_id) if digest else None
    if twin is not None:
        notes.append(findings.trace_seen(twin))
    return tuple(notes)


def _meant(serial: str, schemes: list[SerialScheme]) -> str | None:
    """The one serial that signs mistaken for one another may stand for; None for none, or for several."""
    meant = {
        one for scheme in schemes for one in mended(bare(serial), scheme.pattern) if place(one, [scheme])
    }
    return meant.pop() if len(meant) == 1 else None


def _earlier_twin(digest: str, side: str, column: str, run_id: int | None) -> int | None:
    """The first run that counts and holds the same side or column of a trace, if it came before `run_id`."""
    twin = (
        Run.objects.filter(Q(side=side) | Q(read__vacuum_column=column), trace=digest)
        .exclude(state=RunState.WITHDRAWN)
        .exclude(pk=run_id or 0)
        .order_by("pk")
        .values_list("pk", flat=True)
        .first()
    )
    return twin if twin is not None and (run_id is None or twin < run_id) else None


def _contradiction(unit: Unit, spans: list[SerialSpan], asserted: Revision | None) -> Note | None:
    if asserted is None:
        return None
    # Where a span is declared, what others observed there does not count beside it.
    for span in [span for span in spans if span.basis == "declared"] or spans:
        if span.revision_id != asserted.pk:
            return findings.contradicts_span(asserted.label, span)
    if not spans and unit.asserted is not None and unit.asserted_id != asserted.pk:
        return findings.contradicts_unit(asserted.label, unit.asserted.label)
    return None
