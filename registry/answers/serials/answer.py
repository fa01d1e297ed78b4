"""Which revision is this serial, or each stretch of this range."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django.utils import timezone

from registry.answers import cautions
from registry.answers.opening import open_question
from registry.answers.serials.asked import Asked, AskedRange, asked_range
from registry.answers.serials.eras import between_eras, legs_of
from registry.answers.serials.evidence import gather
from registry.answers.serials.gaps import what_would_fill
from registry.answers.serials.naming import Namer
from registry.answers.stamp import stamp
from registry.models import SerialScheme
from registry.models.serials import made_on, plant_of
from registry.statistics.sightings import Conflict
from registry.statistics.spans import SubSpan, resolve

_TOLD = 4
# Far more than a person reads, and some hundred kilobytes; what lies beyond is asked for from `next_first`.
MOST_SPANS = 500


def answer_serials(model: str, first: str, last: str | None = None) -> dict[str, Any]:
    """Return the `serials` document for one serial, or for the range from `first` to `last`.

    Both may be given as people type them, and without `last` a whole range in `first`; `understood` says what
    was taken (`answers.serials.typed`). `spans` touch each other and cover exactly that, or its first
    MOST_SPANS stretches, or as much as one question reads (`answers.serials.evidence`): then `next_first` is
    the serial to ask from for the rest, and null otherwise. An end marked `first_excluded` or
    `last_excluded` names the nearest serial just outside, where the scheme has no spelling for the one
    inside (where that happens at `next_first`, the rest begins with the last serial told). See
    `registry.statistics.spans` for what counts and how confident it makes the answer.

    Raises UnknownPumpModel; Invalid when the model has no serial scheme, when no scheme reads a serial or it
    can be read in two ways, when the two are of different series, or when `first` comes after `last`.
    """
    opening = open_question(model)
    asked = asked_range(opening.pump_model, opening.schemes, first, last)
    spans, next_first = _all_spans(asked, opening.schemes)
    return {
        "model": opening.pump_model.name,
        "understood": asked.understood,
        "made": _made(asked, spans),
        "plant": plant_of(asked.first),
        "spans": spans,
        "next_first": next_first,
        **stamp(opening.edition),
        "says": _says(asked, spans, next_first),
        "cautions": list(cautions.SERIALS),
    }


def _all_spans(asked: Asked, schemes: list[SerialScheme]) -> tuple[list[dict[str, Any]], str | None]:
    """The stretches of a range, which may go through forms of serial that succeed each other."""
    if asked.is_one_series:
        part = _leg(AskedRange(asked.first, asked.last), schemes)
        return part.spans, part.next_first
    spans: list[dict[str, Any]] = []
    for leg in legs_of(asked, schemes):
        part = _leg(leg, schemes)
        if spans:
            spans.append(between_eras(spans[-1], part.spans[0]))
        spans += part.spans
        if part.next_first is not None:
            return spans, part.next_first
    return spans, None


@dataclass(frozen=True)
class _Part:
    """What one series holds of the answer."""

    spans: list[dict[str, Any]]
    next_first: str | None


def _leg(asked: AskedRange, schemes: list[SerialScheme]) -> _Part:
    evidence = gather(asked)
    namer = Namer(asked.first, evidence.spellings | _spellings(asked), schemes)
    resolved = resolve(
        int(asked.first.key), evidence.until, evidence.said, evidence.seen, most=MOST_SPANS + 1
    )
    spans = [_span_document(span, namer) for span in resolved[:MOST_SPANS]]
    rest = [span.first for span in resolved[MOST_SPANS:]]
    rest += [evidence.until + 1] if evidence.until < int(asked.last.key) else []
    return _Part(spans, namer.first(rest[0]).serial if rest else None)


def _spellings(asked: AskedRange) -> dict[int, str]:
    return {int(asked.first.key): asked.first.serial, int(asked.last.key): asked.last.serial}


def _span_document(span: SubSpan, namer: Namer) -> dict[str, Any]:
    first, last = namer.first(span.first), namer.last(span.last)
    return {
        "first": first.serial,
        "last": last.serial,
        "first_excluded": first.excluded,
        "last_excluded": last.excluded,
        "revision": span.revision,
        "basis": span.basis.value,
        "units": span.units,
        "clinics": span.clinics,
        "first_seen": span.seen[0].isoformat() if span.seen else None,
        "last_seen": span.seen[1].isoformat() if span.seen else None,
        "confidence": None if span.confidence is None else round(span.confidence, 3),
        "supporting": span.supporting,
        "contradicting": span.contradicting,
        "probability": _chance(span.probability),
        "conflicts": [_conflict_document(conflict) for conflict in span.conflicts],
        "lacks": what_would_fill(span, None if span.revision else namer.within(span.first, span.last)),
    }


def _chance(probability: float | None) -> float | None:
    """Never told as certain: what is inferred is not."""
    return None if probability is None else min(round(probability, 3), 0.999)


def _made(asked: Asked, spans: list[dict[str, Any]]) -> dict[str, Any] | None:
    """When the serials say they were made; a year they leave open is told by when they were first seen."""
    days = [date.fromisoformat(span["first_seen"]) for span in spans if span["first_seen"]]
    seen = min(days, default=timezone.now().date())
    begin, end = made_on(asked.first, seen), made_on(asked.last, seen)
    if begin is None or end is None:
        return None
    says = begin.says if begin.says == end.says else f"{begin.says} to {end.says}"
    return {
        "first": begin.first.isoformat(),
        "last": end.last.isoformat(),
        "says": says,
        "year_by": begin.year_by,
    }


def _conflict_document(conflict: Conflict) -> dict[str, Any]:
    return {
        "revision": conflict.revision,
        "basis": conflict.basis.value,
        "source": conflict.source,
        "units": conflict.units,
        "says": conflict.says,
    }


def _says(asked: Asked, spans: list[dict[str, Any]], next_first: str | None) -> str:
    whole = asked.first.serial
    if asked.last.serial != whole:
        whole += f" to {asked.last.serial}"
    told = [_what(span) + ("" if len(spans) == 1 else _where(span)) for span in spans[:_TOLD]]
    if len(spans) > _TOLD:
        told.append(f"and {len(spans) - _TOLD} more stretches")
    disputed = any(span["conflicts"] for span in spans)
    said = f"{whole}: {'; '.join(told)}{'; sources disagree' if disputed else ''}."
    if next_first is None:
        return said
    return f"{said} Cut after {len(spans)} stretches: ask from {next_first} for the rest."


def _what(span: dict[str, Any]) -> str:
    if span["revision"] is None:
        return "which revision is not known"
    return f"revision {span['revision']} ({span['basis']})"


def _where(span: dict[str, Any]) -> str:
    begin = f"{'after' if span['first_excluded'] else 'from'} {span['first']}"
    end = f"{'before' if span['last_excluded'] else 'to'} {span['last']}"
    if span["first"] == span["last"] and not (span["first_excluded"] or span["last_excluded"]):
        return f" at {span['first']}"
    return f" {begin} {end}"
