"""Stored spans and seen units in serial order, and the ground each stretch between them stands on."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from registry.statistics.sightings import Basis, Point, Said


@dataclass(frozen=True)
class Ruling:
    """What an uncut stretch is, and on what ground; neighbours on one ground are one stretch.

    `spans` are the stored spans it rests on, none for units and gaps.
    """

    revision: str | None
    basis: Basis
    ground: tuple[str, object]
    spans: tuple[Said, ...] = ()


_GAP = Ruling(None, Basis.UNKNOWN, ("gap", None))


@dataclass(frozen=True)
class _Anchor:
    """A place where something was observed; stretches are inferred between two of them, never past one."""

    first: int
    last: int
    revision: str | None


class Timeline:
    """Spans and points of one series, with what is asked of them by binary search.

    `said` may hold observed spans that overlap anything; declared spans must lie apart.
    """

    def __init__(self, said: Sequence[Said], points: Sequence[Point]) -> None:
        self._declared = sorted((s for s in said if s.basis is Basis.DECLARED), key=lambda s: s.first)
        self._declared_firsts = [span.first for span in self._declared]
        self._observed = sorted((s for s in said if s.basis is not Basis.DECLARED), key=lambda s: s.first)
        self._points = list(points)
        self._keys = [point.key for point in points]
        self._speaking = {point.key: point for point in points if point.words}
        self._by_last = sorted(self._anchors(), key=lambda a: a.last)
        self._lasts = [anchor.last for anchor in self._by_last]
        self._by_first = sorted(self._by_last, key=lambda a: a.first)
        self._firsts = [anchor.first for anchor in self._by_first]

    def segments(self, first: int, last: int) -> Iterator[tuple[int, int]]:
        """Uncut stretches over the range and over everything known around it; the range's ends are cuts."""
        spans = [*self._declared, *self._observed]
        low = min([first, *self._speaking, *(span.first for span in spans)])
        high = max([last, *self._speaking, *(span.last for span in spans)])
        cuts = {low, high + 1, first, last + 1}
        for key in self._speaking:
            cuts |= {key, key + 1}
        for span in spans:
            cuts |= {span.first, span.last + 1}
        return ((a, b - 1) for a, b in pairwise(sorted(cuts)))

    def ruling(self, first: int, last: int) -> Ruling:
        """What an uncut stretch is: declared, else seen or said there, else between, else unknown."""
        declared = self._declared_over(first, last)
        if declared:
            span = declared[0]
            return Ruling(span.revision, Basis.DECLARED, ("declared", span.first), (span,))
        spans = tuple(self.observed_spans(first, last))
        point = self._speaking.get(first)
        if point is not None:
            return self._at_point(point, spans)
        return self._at_spans(spans) if spans else self._between(first, last)

    def points_in(self, first: int, last: int) -> Sequence[Point]:
        """Units seen within, both ends included."""
        return self._points[bisect_left(self._keys, first) : bisect_right(self._keys, last)]

    def observed_spans(self, first: int, last: int) -> list[Said]:
        """Stored observed spans that touch the stretch."""
        return [span for span in self._observed if span.first <= last and span.last >= first]

    def _anchors(self) -> Iterable[_Anchor]:
        for point in self._speaking.values():
            yield _Anchor(point.key, point.key, point.word)
        for span in self._observed:
            yield _Anchor(span.first, span.last, span.revision)

    def _declared_over(self, first: int, last: int) -> list[Said]:
        start = max(bisect_right(self._declared_firsts, first) - 1, 0)
        stop = bisect_right(self._declared_firsts, last)
        return [span for span in self._declared[start:stop] if span.last >= first]

    @staticmethod
    def _at_point(point: Point, spans: tuple[Said, ...]) -> Ruling:
        """A unit's own word at its serial; a span that says the same, or that breaks a tie, takes it in."""
        said = {span.revision for span in spans}
        if len(said) == 1 and (point.word is None or point.word in said):
            return Timeline._at_spans(spans)
        if point.word is None:
            return Ruling(None, Basis.UNKNOWN, ("disputed", point.key))
        return Ruling(point.word, Basis.OBSERVED, ("seen", point.word))

    @staticmethod
    def _at_spans(spans: tuple[Said, ...]) -> Ruling:
        said = {span.revision for span in spans}
        if len(said) > 1:
            return Ruling(None, Basis.UNKNOWN, ("split", spans))
        return Ruling(spans[0].revision, Basis.OBSERVED, ("said", spans[0].revision), spans)

    def _between(self, first: int, last: int) -> Ruling:
        before = self._revision_at(self._by_last, bisect_left(self._lasts, first) - 1, ends=True)
        after = self._revision_at(self._by_first, bisect_right(self._firsts, last), ends=False)
        if before is None or after is None or before[1] != after[1]:
            return _GAP
        revision = before[1]
        between = self._declared_over(before[0], after[0])
        if any(span.revision != revision for span in between):
            return _GAP
        return Ruling(revision, Basis.INFERRED, ("seen", revision))

    @staticmethod
    def _revision_at(anchors: Sequence[_Anchor], index: int, *, ends: bool) -> tuple[int, str] | None:
        """The place and revision of the anchor at `index`; None without one, or where two disagree there."""
        if not 0 <= index < len(anchors):
            return None
        place = anchors[index].last if ends else anchors[index].first
        step = -1 if ends else 1
        said = set()
        while 0 <= index < len(anchors) and (anchors[index].last if ends else anchors[index].first) == place:
            said.add(anchors[index].revision)
            index += step
        revision = said.pop() if len(said) == 1 else None
        return None if revision is None else (place, revision)
