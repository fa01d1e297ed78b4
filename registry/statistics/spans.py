"""Which build each stretch of serials is, from who declared it and who saw it.

Serials are whole numbers here: their place within one series of one scheme. Declared spans win. Where
nothing is declared, a unit seen as a revision is `observed` at its serial, a stored observed span over its
length; between two neighbouring observations of one revision, with nothing contrary between, the stretch is
`inferred`. Everything else is `unknown`: a gap is said, never guessed over. Units of one revision and the
inferred stretches between them are given as one stretch, from the first unit seen to the last.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

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


def resolve(
    first: int, last: int, said: Iterable[Said], seen: Iterable[Seen], most: int | None = None
) -> list[SubSpan]:
    """Cut `first` to `last` into stretches that touch, never overlap and cover exactly what was asked.

    `said` are stored spans (declared ones must not overlap each other), `seen` the units measured in and
    around the range; units and spans outside it still decide what lies between them and the range, and add
    their voices. With `most`, no more stretches than that are worked out, from the first on. Raises
    ValueError when `first` comes after `last`.
    """
    if first > last:
        raise ValueError("the first serial comes after the last")
    timeline = Timeline(list(said), points_of(seen))
    weighed = _Weighed(timeline)
    return [_sub_span(weighed, group, first, last) for group in islice(_groups(timeline, first, last), most)]


def _groups(timeline: Timeline, first: int, last: int) -> Iterator[list[_Segment]]:
    """Neighbouring stretches that stand on the same ground, each in full, as far as they touch the range.

    What lies further out is never looked at, so one serial costs the same however much is known elsewhere.
    """
    cuts = timeline.cuts(first, last)
    segments = _Segments(timeline, cuts)
    index = bisect_left(cuts, first)
    while index > 0 and segments.ground(index - 1) == segments.ground(index):
        index -= 1
    while index < len(cuts) - 1 and cuts[index] <= last:
        group = [segments.at(index)]
        index += 1
        while index < len(cuts) - 1 and segments.ground(index) == group[0].ruling.ground:
            group.append(segments.at(index))
            index += 1
        yield group


class _Segments:
    """The uncut stretches by number, each ruled on when first asked for."""

    def __init__(self, timeline: Timeline, cuts: Sequence[int]) -> None:
        self._timeline = timeline
        self._cuts = cuts
        self._known: dict[int, _Segment] = {}

    def at(self, index: int) -> _Segment:
        if index not in self._known:
            first, last = self._cuts[index], self._cuts[index + 1] - 1
            self._known[index] = _Segment(first, last, self._timeline.ruling(first, last))
        return self._known[index]

    def ground(self, index: int) -> tuple[str, object]:
        return self.at(index).ruling.ground


class _Weighed:
    """Voices and conflicts over the whole a stretch is part of, worked out once for all its stretches."""

    def __init__(self, timeline: Timeline) -> None:
        self.timeline = timeline
        self._known: dict[tuple[tuple[int, int], str | None, int], tuple[Voices, tuple[Conflict, ...]]] = {}

    def over(
        self, extent: tuple[int, int], revision: str | None, spans: int
    ) -> tuple[Voices, tuple[Conflict, ...]]:
        """The voices for and against `revision` over `extent`, `spans` stored spans among those for it."""
        key = (extent, revision, spans)
        if key not in self._known:
            around = self.timeline.points_in(*extent)
            against = _spans_against(self.timeline, revision, extent)
            voices = Voices.over(around, revision, spans_for=spans, spans_against=len(against))
            conflicts = (*_seen_otherwise(around, revision), *Conflict.of_spans(against))
            self._known[key] = voices, conflicts
        return self._known[key]


def _sub_span(weighed: _Weighed, group: Sequence[_Segment], first: int, last: int) -> SubSpan:
    ruling = group[0].ruling
    within = [segment for segment in group if first <= segment.first and segment.last <= last]
    spans = {span for segment in group for span in segment.ruling.spans}
    voices, conflicts = weighed.over(_extent(group, spans), ruling.revision, len(spans))
    units, clinics = _counted(weighed.timeline.points_in(within[0].first, within[-1].last), ruling)
    is_known = ruling.revision is not None
    return SubSpan(
        first=within[0].first,
        last=within[-1].last,
        revision=ruling.revision,
        basis=_basis(within),
        units=units,
        clinics=clinics,
        confidence=voices.confidence if is_known else None,
        supporting=voices.supporting if is_known else 0,
        contradicting=voices.contradicting if is_known else 0,
        conflicts=conflicts,
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
