"""Gather what is known of the serials in and around a range: stored spans and the units clinics measured."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import cast

from django.db.models import Exists, OuterRef, QuerySet

from registry.answers.asked import AskedRange
from registry.models import Run, RunState, SerialSpan, Unit
from registry.statistics.sightings import Basis, Said, Seen

# Units of known build looked at on either side of what is asked: they settle what is inferred and add their
# voices to it. More of them would move the confidence by less than one part in twenty.
_AROUND = 20


@dataclass(frozen=True)
class Evidence:
    """Stored spans and seen units of one series, with every serial spelling they bring, by place."""

    said: tuple[Said, ...]
    seen: tuple[Seen, ...]
    spellings: dict[int, str]


def gather(asked: AskedRange) -> Evidence:
    """Read the spans of the series, and the units within reach of what is asked, by index: four queries.

    Within reach is the range itself, every stored span that touches it in full (its confidence rests on all
    of it), and the nearest units of known build on either side.
    """
    stored = list(
        SerialSpan.objects.filter(scheme=asked.first.scheme, series=asked.first.series)
        .select_related("revision")
        .order_by("id")
    )
    said = tuple(_said(span) for span in stored)
    seen = _seen(asked, *_reach(asked, said))
    spellings = {unit.key: unit.serial for unit in reversed(seen)}
    for span, ends in zip(stored, said, strict=True):
        spellings |= {ends.first: span.first, ends.last: span.last}
    return Evidence(said, seen, spellings)


def _said(span: SerialSpan) -> Said:
    first, last = int(span.keys.lower), int(span.keys.upper)
    return Said(
        first if span.keys.lower_inc else first + 1,
        last if span.keys.upper_inc else last - 1,
        span.revision.label,
        Basis(span.basis),
        span.source,
    )


def _reach(asked: AskedRange, said: Sequence[Said]) -> tuple[int, int]:
    first, last = int(asked.first.key), int(asked.last.key)
    touching = [span for span in said if span.first <= last and span.last >= first]
    low = min([first, *(span.first for span in touching)])
    high = max([last, *(span.last for span in touching)])
    told = _units(asked).filter(
        Exists(Run.objects.filter(unit=OuterRef("pk"), state=RunState.ACCEPTED, asserted__isnull=False))
    )
    before = _nearest(told.filter(key__lt=low).order_by("-key"))
    after = _nearest(told.filter(key__gt=high).order_by("key"))
    return min([low, *before]), max([high, *after])


def _units(asked: AskedRange) -> QuerySet[Unit]:
    return Unit.objects.filter(scheme=asked.first.scheme, series=asked.first.series)


def _nearest(units: QuerySet[Unit]) -> list[int]:
    return [int(cast(Decimal, key)) for key in units.values_list("key", flat=True)[:_AROUND]]


def _seen(asked: AskedRange, low: int, high: int) -> tuple[Seen, ...]:
    """Each unit with accepted runs between two places, with what every clinic took it for."""
    said = (
        Run.objects.filter(
            state=RunState.ACCEPTED,
            unit__scheme=asked.first.scheme,
            unit__series=asked.first.series,
            unit__key__range=(Decimal(low), Decimal(high)),
        )
        .order_by("unit__key", "unit__serial")
        .values_list("unit__key", "unit__serial", "clinic__code", "asserted__label")
        .distinct()
    )
    voices: dict[tuple[int, str], set[tuple[str, str | None]]] = defaultdict(set)
    for key, serial, clinic, word in said:
        voices[int(cast(Decimal, key)), serial].add((clinic, word))
    return tuple(Seen(key, serial, _spoken(words)) for (key, serial), words in voices.items())


def _spoken(voices: set[tuple[str, str | None]]) -> frozenset[tuple[str, str | None]]:
    """A clinic that named the revision once and left it out another time has named it."""
    named = {clinic for clinic, word in voices if word is not None}
    return frozenset((clinic, word) for clinic, word in voices if word is not None or clinic not in named)
