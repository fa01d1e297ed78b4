"""Spans and units in serial order: what touches a stretch, and what lies between observations."""

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.statistics.sightings import Basis, Said, Seen, points_of
from registry.statistics.spans import resolve
from registry.statistics.timeline import SpanIndex, Timeline

MANY = 20_000


def observed(first: int, last: int, revision: str = "A") -> Said:
    return Said(first, last, revision, Basis.OBSERVED, "stock list")


def declared(first: int, last: int, revision: str) -> Said:
    return Said(first, last, revision, Basis.DECLARED, "letter")


def unit(key: int, word: str) -> Seen:
    return Seen(key, f"S{key}", frozenset({("north", word)}))


STRETCHES = st.tuples(st.integers(-40, 40), st.integers(0, 30)).map(lambda pair: (pair[0], sum(pair)))


@settings(deadline=None)
@given(stretches=st.lists(STRETCHES, max_size=40), asked=STRETCHES)
def test_the_index_finds_what_a_look_at_every_span_finds(
    stretches: list[tuple[int, int]], asked: tuple[int, int]
) -> None:
    spans = [observed(*stretch, revision=str(n)) for n, stretch in enumerate(stretches)]
    found = SpanIndex(spans).touching(*asked)
    assert [span.first for span in found] == sorted(span.first for span in found)
    every = [span for span in spans if span.first <= asked[1] and span.last >= asked[0]]
    assert sorted(found, key=lambda span: int(span.revision)) == every


@pytest.mark.parametrize(
    ("between", "basis"),
    [
        ([], Basis.INFERRED),
        ([declared(20, 29, "A"), declared(40, 49, "A")], Basis.INFERRED),
        ([declared(20, 29, "A"), declared(40, 49, "B")], Basis.UNKNOWN),
        ([declared(20, 29, "B"), declared(40, 49, "A")], Basis.UNKNOWN),
        ([declared(1, 9, "B"), declared(20, 29, "A"), declared(91, 99, "B")], Basis.INFERRED),
        ([declared(1, 12, "B"), declared(20, 29, "A")], Basis.UNKNOWN),
        ([declared(20, 29, "A"), declared(88, 99, "B")], Basis.UNKNOWN),
    ],
)
def test_inference_between_two_units_looks_at_every_declared_span_between(between, basis) -> None:
    timeline = Timeline(between, points_of([unit(10, "A"), unit(90, "A")]))
    assert timeline.ruling(30, 39).basis is basis


def test_two_observations_that_disagree_at_one_place_infer_nothing() -> None:
    spans = [observed(1, 10, "A"), observed(5, 10, "B"), observed(20, 30, "A")]
    assert Timeline(spans, []).ruling(11, 19).revision is None
    assert Timeline([spans[0], spans[2]], []).ruling(11, 19).revision == "A"


def test_cuts_lie_where_what_is_known_changes() -> None:
    timeline = Timeline([declared(5, 9, "A"), observed(8, 12)], points_of([unit(20, "A")]))
    assert timeline.cuts(7, 30) == [5, 7, 8, 10, 13, 20, 21, 31]


SPANS = [observed(n * 10, n * 10 + 5, "AB"[n % 2]) for n in range(MANY)]
UNITS = [unit(n * 10, "AB"[n % 2]) for n in range(MANY)]
LETTERS = [declared(n * 10, n * 10 + 5, "A") for n in range(1, MANY)]
END = MANY * 10


@pytest.mark.parametrize(
    ("said", "seen", "asked"),
    [
        (SPANS, [], (END // 2, END // 2)),
        (SPANS, [], (0, END)),
        ([*SPANS, observed(0, END, "A")], [], (0, END)),
        ([observed(0, END, "A")], UNITS, (0, END)),
        (LETTERS, [unit(0, "A"), unit(END, "A")], (0, END)),
        (LETTERS, [unit(0, "A"), unit(END, "A")], (END // 2, END // 2)),
        ([], UNITS, (0, END)),
    ],
    ids=["one", "row", "all in one", "units in one", "letters", "one of letters", "units"],
)
def test_hundreds_of_stretches_out_of_ten_thousands_take_a_moment(said, seen, asked) -> None:
    begun = time.process_time()
    stretches = resolve(*asked, said, seen, most=500)
    assert time.process_time() - begun < 3
    assert len(stretches) == (500 if asked[0] < asked[1] else 1)
