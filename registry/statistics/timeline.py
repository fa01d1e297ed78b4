"""Stored spans and seen units in serial order, and the ground each stretch between them stands on."""

from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from registry.statistics.changes import Known
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


class SpanIndex:
    """Spans in serial order, of which those that touch a stretch are found without looking at the others.

    A binary tree over the spans sorted by their first serial holds the furthest last serial below each node,
    so k of n spans are found in about k log n steps, however they overlap.
    """

    def __init__(self, spans: Iterable[Said]) -> None:
        self._spans = sorted(spans, key=lambda span: span.first)
        self._firsts = [span.first for span in self._spans]
        self._leaves = 1 << max(len(self._spans) - 1, 0).bit_length()
        lasts = [span.last for span in self._spans]
        lowest = min(lasts, default=0)
        self._furthest = [lowest] * self._leaves + lasts + [lowest] * (self._leaves - len(lasts))
        for node in range(self._leaves - 1, 0, -1):
            self._furthest[node] = max(self._furthest[2 * node], self._furthest[2 * node + 1])

    def __iter__(self) -> Iterator[Said]:
        return iter(self._spans)

    def touching(self, first: int, last: int) -> list[Said]:
        """Spans that share a serial with the stretch, in order of their first."""
        stop = bisect_right(self._firsts, last)
        found, nodes = [], [(1, 0, self._leaves)]
        while nodes:
            node, start, width = nodes.pop()
            if start >= stop or self._furthest[node] < first:
                continue
            if width == 1:
                found.append(self._spans[start])
                continue
            half = width // 2
            nodes += [(2 * node + 1, start + half, half), (2 * node, start, half)]
        return found


class _Ends:
    """Places where something was observed, each with its revision, None where two disagree there."""

    def __init__(self, said: Iterable[tuple[int, str | None]]) -> None:
        words: dict[int, set[str | None]] = defaultdict(set)
        for place, revision in said:
            words[place].add(revision)
        self._places = sorted(words)
        self._words = words

    def before(self, key: int) -> tuple[int, str] | None:
        """The nearest place below `key`; None without one, or without one revision there."""
        return self._at(bisect_left(self._places, key) - 1)

    def after(self, key: int) -> tuple[int, str] | None:
        """The nearest place above `key`; None without one, or without one revision there."""
        return self._at(bisect_right(self._places, key))

    def _at(self, index: int) -> tuple[int, str] | None:
        if not 0 <= index < len(self._places):
            return None
        place = self._places[index]
        words = self._words[place]
        revision = next(iter(words)) if len(words) == 1 else None
        return None if revision is None else (place, revision)


class Timeline:
    """Spans and points of one series, with what is asked of them by binary search.

    `said` may hold observed spans that overlap anything; declared spans must lie apart.
    """

    def __init__(self, said: Sequence[Said], points: Sequence[Point]) -> None:
        self._declared = sorted((s for s in said if s.basis is Basis.DECLARED), key=lambda s: s.first)
        self._declared_firsts = [span.first for span in self._declared]
        self._observed = SpanIndex(s for s in said if s.basis is not Basis.DECLARED)
        self._points = list(points)
        self._keys = [point.key for point in points]
        self._speaking = {point.key: point for point in points if point.words}
        seen = [(point.key, point.word) for point in self._speaking.values()]
        self._lasts = _Ends([*seen, *((span.last, span.revision) for span in self._observed)])
        self._firsts = _Ends([*seen, *((span.first, span.revision) for span in self._observed)])
        self._one_revision_until = self._runs()

    def cuts(self, first: int, last: int) -> list[int]:
        """Where stretches begin, over the range and over everything known around it, and one past the end.

        What is known changes at these places only; the range's ends are cuts as well.
        """
        cuts = {first, last + 1}
        for key in self._speaking:
            cuts |= {key, key + 1}
        for span in (*self._declared, *self._observed):
            cuts |= {span.first, span.last + 1}
        return sorted(cuts)

    def ruling(self, first: int, last: int) -> Ruling:
        """What an uncut stretch is: declared, else seen or said there, else between, else unknown."""
        start, stop = self._declared_over(first, last)
        if start < stop:
            span = self._declared[start]
            return Ruling(span.revision, Basis.DECLARED, ("declared", span.first), (span,))
        spans = tuple(self.observed_spans(first, last))
        point = self._speaking.get(first)
        if point is not None:
            return self._at_point(point, spans)
        return self._at_spans(spans) if spans else self._between(first, last)

    def known(self) -> list[Known]:
        """All stretches known to be of one revision, in order and apart: declared, said, and seen.

        A place where sources disagree is left out, and so are units within a declared span.
        """
        found: list[Known] = []
        declared = [Known(s.first, s.last, s.revision) for s in self._declared]
        said = [Known(s.first, s.last, s.revision) for s in self._observed]
        seen = [Known(p.key, p.key, p.word) for p in self._speaking.values() if p.word is not None]
        for one in sorted([*declared, *said, *seen], key=lambda known: (known.first, -known.last)):
            if not found or one.first > found[-1].last:
                found.append(one)
            elif one.revision == found[-1].revision and one.last > found[-1].last:
                found[-1] = Known(found[-1].first, one.last, one.revision)
        return found

    def points_in(self, first: int, last: int) -> Sequence[Point]:
        """Units seen within, both ends included."""
        return self._points[bisect_left(self._keys, first) : bisect_right(self._keys, last)]

    def observed_spans(self, first: int, last: int) -> list[Said]:
        """Stored observed spans that touch the stretch, in order of their first."""
        return self._observed.touching(first, last)

    def _runs(self) -> list[int]:
        """For each declared span, one past the last of those that follow it with the same revision."""
        until = [0] * len(self._declared)
        for index in range(len(until) - 1, -1, -1):
            following = index + 1
            goes_on = following < len(until) and (
                self._declared[following].revision == self._declared[index].revision
            )
            until[index] = until[following] if goes_on else following
        return until

    def _declared_over(self, first: int, last: int) -> tuple[int, int]:
        """Which declared spans touch the stretch: from one index up to, not including, another."""
        start = max(bisect_right(self._declared_firsts, first) - 1, 0)
        if start < len(self._declared) and self._declared[start].last < first:
            start += 1
        return start, bisect_right(self._declared_firsts, last)

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
        before, after = self._lasts.before(first), self._firsts.after(last)
        if before is None or after is None or before[1] != after[1]:
            return _GAP
        revision = before[1]
        start, stop = self._declared_over(before[0], after[0])
        if start < stop and (
            self._declared[start].revision != revision or self._one_revision_until[start] < stop
        ):
            return _GAP
        return Ruling(revision, Basis.INFERRED, ("seen", revision))
