"""Which revision is this serial, or each stretch of this range."""

from typing import Any

from registry.answers import cautions
from registry.answers.asked import AskedRange, asked_range
from registry.answers.evidence import gather
from registry.answers.naming import Namer
from registry.answers.stamp import current_edition, stamp
from registry.models.lookup import find_pump_model
from registry.statistics.sightings import Conflict
from registry.statistics.spans import SubSpan, resolve

_TOLD = 4
# Far more than a person reads, and some hundred kilobytes; what lies beyond is asked for from `next_first`.
MOST_SPANS = 500


def answer_serials(model: str, first: str, last: str | None = None) -> dict[str, Any]:
    """Return the `serials` document for one serial, or for the range from `first` to `last`.

    `spans` touch each other and cover exactly what was asked, or its first MOST_SPANS stretches: then
    `next_first` is the serial to ask from for the rest, and null otherwise. An end marked `first_excluded` or
    `last_excluded` names the nearest serial just outside, where the scheme has no spelling for the one
    inside (where that happens at `next_first`, the rest begins with the last serial told). See
    `registry.statistics.spans` for what counts and how confident it makes the answer.

    Raises UnknownPumpModel; Invalid when the model has no serial scheme, when no scheme reads a serial, when
    the two are of different series, or when `first` comes after `last`.
    """
    pump_model = find_pump_model(model)
    edition = current_edition()
    schemes = list(pump_model.serial_schemes.all())
    asked = asked_range(pump_model, schemes, first, last)
    evidence = gather(asked)
    namer = Namer(asked.first, evidence.spellings | _spellings(asked), schemes)
    keys = int(asked.first.key), int(asked.last.key)
    resolved = resolve(*keys, evidence.said, evidence.seen, most=MOST_SPANS + 1)
    spans = [_span_document(span, namer) for span in resolved[:MOST_SPANS]]
    rest = [namer.first(span.first).serial for span in resolved[MOST_SPANS:]]
    next_first = rest[0] if rest else None
    return {
        "model": pump_model.name,
        "spans": spans,
        "next_first": next_first,
        **stamp(edition),
        "says": _says(asked, spans, next_first),
        "cautions": list(cautions.SERIALS),
    }


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
        "confidence": None if span.confidence is None else round(span.confidence, 3),
        "supporting": span.supporting,
        "contradicting": span.contradicting,
        "conflicts": [_conflict_document(conflict) for conflict in span.conflicts],
    }


def _conflict_document(conflict: Conflict) -> dict[str, Any]:
    return {
        "revision": conflict.revision,
        "basis": conflict.basis.value,
        "source": conflict.source,
        "units": conflict.units,
        "says": conflict.says,
    }


def _says(asked: AskedRange, spans: list[dict[str, Any]], next_first: str | None) -> str:
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
