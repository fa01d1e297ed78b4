"""Which build each stretch of serials is, from who declared it and who saw it.

Serials are whole numbers here: their place within one series of one scheme. Declared spans win. Where
nothing is declared, a unit seen as a revision is `observed` at its serial, a stored observed span over its
length; between two neighbouring observations of one revision, with nothing contrary between, the stretch is
`inferred`. Everything else is `unknown`: a gap is said, never guessed over. Units of one revision and the
inferred stretches between them are given as one stretch, from the first unit seen to the last.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from registry.statistics.sightings import Basis, Conflict, Point, Said, Seen, Voices, points_of
from registry.statistics.timeline import Ruling, Timeline


@dataclass(frozen=True)
class SubSpan:
    """One stretch of the answer, both ends included.

    `units` and `clinics` count what was measured within it and stands for `revision` (for an unknown stretch:
    what was measured there at all). `confidence` is (s + 1) / (s + c + 2), Laplace's rule of succession, over
    `supporting` and `contradicting` voices of the whole declared span, observed span or row of units this
    stretch is part of: each clinic's word on a unit is a voice, a stored span is one more. `conflicts` name
    the contradicting ones, also of the whole.
    """

    first: int
    last: int
    revision: str | None
    basis: Basis
    units: int
    clinics: int
    confidence: float | None
    supporting: int
    contradicting: int
    conflicts: tuple[Conflict, ...]


@dataclass(frozen=True)
class _Segment:
    first: int
    last: int
    ruling: Ruling


def resolve(first: int, last: int, said: Iterable[Said], seen: Iterable[Seen]) -> list[SubSpan]:
    """Cut `first` to `last` into stretches that touch, never overlap and cover exactly what was asked.

    `said` are stored spans (declared ones must not overlap each other), `seen` the units measured in and
    around the range; units and spans outside it still decide what lies between them and the range, and add
    their voices. Raises ValueError when `first` comes after `last`.
    """
    if first > last:
        raise ValueError("the first serial comes after the last")
    timeline = Timeline(list(said), points_of(seen))
    answer = []
    for group in _grouped(timeline, timeline.segments(first, last)):
        within = [segment for segment in group if first <= segment.first and segment.last <= last]
        if within:
            answer.append(_sub_span(timeline, group, within))
    return answer


def _grouped(timeline: Timeline, stretches: Iterable[tuple[int, int]]) -> list[list[_Segment]]:
    """Neighbouring stretches that stand on the same ground."""
    groups: list[list[_Segment]] = []
    for first, last in stretches:
        segment = _Segment(first, last, timeline.ruling(first, last))
        if groups and groups[-1][-1].ruling.ground == segment.ruling.ground:
            groups[-1].append(segment)
        else:
            groups.append([segment])
    return groups


def _sub_span(timeline: Timeline, group: Sequence[_Segment], within: Sequence[_Segment]) -> SubSpan:
    ruling = group[0].ruling
    spans = {span for segment in group for span in segment.ruling.spans}
    extent = _extent(group, spans)
    around = timeline.points_in(*extent)
    against = _spans_against(timeline, ruling.revision, extent)
    voices = Voices.over(around, ruling.revision, spans_for=len(spans), spans_against=len(against))
    units, clinics = _counted(timeline.points_in(within[0].first, within[-1].last), ruling)
    return SubSpan(
        first=within[0].first,
        last=within[-1].last,
        revision=ruling.revision,
        basis=_basis(within),
        units=units,
        clinics=clinics,
        confidence=None if ruling.revision is None else voices.confidence,
        supporting=0 if ruling.revision is None else voices.supporting,
        contradicting=0 if ruling.revision is None else voices.contradicting,
        conflicts=(*_seen_otherwise(around, ruling.revision), *map(Conflict.of_span, against)),
    )


def _extent(group: Sequence[_Segment], spans: Collection[Said]) -> tuple[int, int]:
    """What the ground covers: the stored spans it rests on, else the row of units and gaps itself."""
    if spans:
        return min(span.first for span in spans), max(span.last for span in spans)
    return group[0].first, group[-1].last


def _basis(within: Sequence[_Segment]) -> Basis:
    """Inferred as soon as any part is; a row of units without a serial missing stays observed."""
    bases = {segment.ruling.basis for segment in within}
    return Basis.INFERRED if Basis.INFERRED in bases else within[0].ruling.basis


def _counted(points: Sequence[Point], ruling: Ruling) -> tuple[int, int]:
    """Distinct units and clinics that stand for the ruling; silent units only where a stored span speaks."""
    standing = []
    for unit in (unit for point in points for unit in point.units):
        speaks_so = unit.word == ruling.revision and not unit.is_silent
        if ruling.revision is None or speaks_so or (ruling.spans and unit.is_silent):
            standing.append(unit)
    clinics = {
        clinic
        for unit in standing
        for clinic, word in unit.voices
        if ruling.revision is None or word in (ruling.revision, None)
    }
    return len({unit.serial for unit in standing}), len(clinics)


def _seen_otherwise(points: Sequence[Point], revision: str | None) -> list[Conflict]:
    """Units some clinic took for another revision; within an unknown stretch, only where clinics differ."""
    others: dict[str, list[Seen]] = defaultdict(list)
    for point in points:
        if revision is None and not point.is_disputed:
            continue
        for unit in point.units:
            for word in unit.words - {revision}:
                others[word].append(unit)
    return [Conflict.of_units(word, units) for word, units in sorted(others.items())]


def _spans_against(timeline: Timeline, revision: str | None, extent: tuple[int, int]) -> list[Said]:
    """Stored observed spans that say otherwise; for an unknown stretch, those that disagree over it."""
    touching = timeline.observed_spans(*extent)
    if revision is not None:
        return [span for span in touching if span.revision != revision]
    return touching if len({span.revision for span in touching}) > 1 else []
