"""Which build each stretch of serials is, from who declared it and who saw it.

Serials are whole numbers here: their place within one series of one scheme. Declared spans win. Where
nothing is declared, a unit seen as a revision is `observed` at its serial, a stored observed span over its
length; between two neighbouring observations of one revision, with nothing contrary between, the stretch is
`inferred`. Everything else is `unknown`: a gap is said, never guessed over. Units of one revision and the
inferred stretches between them are given as one stretch, from the first unit seen to the last.
"""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import islice, pairwise

from registry.statistics.changes import Changes, Known
from registry.statistics.sightings import Basis, Conflict, Point, Said, Seen, Voices, points_of
from registry.statistics.timeline import Ruling, Timeline


@dataclass(frozen=True)
class SubSpan:
    """One stretch of the answer, both ends included.

    `units` and `clinics` count what was measured within it and stands for `revision` (for an unknown stretch:
    what was measured there at all). `confidence` is (s + 1) / (s + c + 2), Laplace's rule of succession, over
    `supporting` and `contradicting` voices of the whole declared span, observed span or row of units this
    stretch is part of: each clinic's word on a unit is a voice, a stored span is one more. `conflicts` name
    the contradicting ones, also of the whole. `probability` is how likely all serials of an inferred stretch
    are of its revision (`registry.statistics.changes`). `seen` are the days of the first and the last run
    among the counted units. `before` and `after` are the revisions of the neighbouring stretches, None where
    those are unknown, or nothing is known further out.
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
    probability: float | None = None
    seen: tuple[date, date] | None = None
    before: str | None = None
    after: str | None = None


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


@dataclass(frozen=True)
class _Group:
    """Neighbouring stretches on one ground, in full, and the revisions known on either side of them."""

    segments: Sequence[_Segment]
    before: str | None
    after: str | None


def _groups(timeline: Timeline, first: int, last: int) -> Iterator[_Group]:
    """Neighbouring stretches that stand on the same ground, each in full, as far as they touch the range.

    What lies further out is never looked at, so one serial costs the same however much is known elsewhere.
    """
    cuts = timeline.cuts(first, last)
    segments = _Segments(timeline, cuts)
    index = bisect_left(cuts, first)
    while index > 0 and segments.ground(index - 1) == segments.ground(index):
        index -= 1
    while index < len(cuts) - 1 and cuts[index] <= last:
        before = segments.revision(index - 1)
        group = [segments.at(index)]
        index += 1
        while index < len(cuts) - 1 and segments.ground(index) == group[0].ruling.ground:
            group.append(segments.at(index))
            index += 1
        yield _Group(group, before, segments.revision(index))


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

    def revision(self, index: int) -> str | None:
        """The revision of a stretch; None where it is unknown, and beyond all that is known."""
        return self.at(index).ruling.revision if 0 <= index < len(self._cuts) - 1 else None


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

    @cached_property
    def _stretches(self) -> list[Known]:
        return self.timeline.known()

    @cached_property
    def _changes(self) -> Changes:
        return Changes(self._stretches, len({known.revision for known in self._stretches}))

    def chance(self, first: int, last: int) -> float:
        """How likely all of an inferred stretch is of its revision: what lies between known neighbours."""
        index = max(bisect_right(self._stretches, first, key=lambda known: known.first) - 1, 0)
        pieces = []
        for before, after in pairwise(self._stretches[index:]):
            if before.last >= last:
                break
            if after.first - before.last > 1 and after.first >= first:
                piece = max(first, before.last), min(last, after.first)
                pieces.append((before.last, *piece, after.first))
        return self._changes.all_of_one(pieces)


def _sub_span(weighed: _Weighed, group: _Group, first: int, last: int) -> SubSpan:
    ruling = group.segments[0].ruling
    within = [segment for segment in group.segments if first <= segment.first and segment.last <= last]
    spans = {span for segment in group.segments for span in segment.ruling.spans}
    voices, conflicts = weighed.over(_extent(group.segments, spans), ruling.revision, len(spans))
    standing = _standing(weighed.timeline.points_in(within[0].first, within[-1].last), ruling)
    is_known, basis = ruling.revision is not None, _basis(within)
    return SubSpan(
        first=within[0].first,
        last=within[-1].last,
        revision=ruling.revision,
        basis=basis,
        units=len({unit.serial for unit in standing}),
        clinics=_clinics(standing, ruling),
        confidence=voices.confidence if is_known else None,
        supporting=voices.supporting if is_known else 0,
        contradicting=voices.contradicting if is_known else 0,
        conflicts=conflicts,
        probability=weighed.chance(within[0].first, within[-1].last) if basis is Basis.INFERRED else None,
        seen=_seen_days(standing),
        before=group.before,
        after=group.after,
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


def _standing(points: Sequence[Point], ruling: Ruling) -> list[Seen]:
    """The units that stand for the ruling; silent units only where a stored span speaks."""
    standing = []
    for unit in (unit for point in points for unit in point.units):
        speaks_so = unit.word == ruling.revision and not unit.is_silent
        if ruling.revision is None or speaks_so or (ruling.spans and unit.is_silent):
            standing.append(unit)
    return standing


def _clinics(standing: Sequence[Seen], ruling: Ruling) -> int:
    clinics = {
        clinic
        for unit in standing
        for clinic, word in unit.voices
        if ruling.revision is None or word in (ruling.revision, None)
    }
    return len(clinics)


def _seen_days(standing: Sequence[Seen]) -> tuple[date, date] | None:
    firsts = [unit.first for unit in standing if unit.first is not None]
    lasts = [unit.last for unit in standing if unit.last is not None]
    return (min(firsts), max(lasts)) if firsts and lasts else None


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
