"""Stretches of serials: declared wins, gaps are said, disagreement is said."""

import itertools

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from registry.statistics.sightings import Basis, Said, Seen
from registry.statistics.spans import SubSpan, resolve


def seen(key: int, word: str | None = "A", clinic: str = "north") -> Seen:
    return Seen(key, f"S{key}", frozenset({(clinic, word)}))


def declared(first: int, last: int, revision: str) -> Said:
    return Said(first, last, revision, Basis.DECLARED, "maker's letter")


def observed(first: int, last: int, revision: str) -> Said:
    return Said(first, last, revision, Basis.OBSERVED, "stock list")


def brief(spans: list[SubSpan]) -> list[tuple[int, int, str | None, str]]:
    return [(s.first, s.last, s.revision, s.basis.value) for s in spans]


def test_nothing_known_is_one_unknown_stretch() -> None:
    (only,) = resolve(10, 20, [], [])
    assert brief([only]) == [(10, 20, None, "unknown")]
    assert only.confidence is None
    assert (only.units, only.clinics, only.conflicts) == (0, 0, ())


def test_declared_spans_with_a_gap_between() -> None:
    spans = resolve(50, 250, [declared(1, 99, "A"), declared(200, 300, "B")], [])
    assert brief(spans) == [
        (50, 99, "A", "declared"),
        (100, 199, None, "unknown"),
        (200, 250, "B", "declared"),
    ]
    assert spans[0].confidence == pytest.approx(2 / 3)


def test_a_single_unit_is_observed_and_its_surroundings_are_not_known() -> None:
    assert brief(resolve(1, 9, [], [seen(5)])) == [
        (1, 4, None, "unknown"),
        (5, 5, "A", "observed"),
        (6, 9, None, "unknown"),
    ]


def test_between_two_units_of_one_revision_it_is_inferred() -> None:
    spans = resolve(1, 30, [], [seen(5), seen(9, clinic="south"), seen(20, "B")])
    assert brief(spans) == [
        (1, 4, None, "unknown"),
        (5, 9, "A", "inferred"),
        (10, 19, None, "unknown"),
        (20, 20, "B", "observed"),
        (21, 30, None, "unknown"),
    ]
    assert (spans[1].units, spans[1].clinics, spans[1].confidence) == (2, 2, 0.75)


def test_a_row_of_units_without_a_serial_missing_is_observed() -> None:
    assert brief(resolve(5, 7, [], [seen(5), seen(6), seen(7)])) == [(5, 7, "A", "observed")]


def test_units_outside_the_range_decide_what_lies_between() -> None:
    spans = resolve(50, 60, [], [seen(10), seen(100)])
    assert brief(spans) == [(50, 60, "A", "inferred")]
    assert spans[0].units == 0
    assert (spans[0].supporting, spans[0].confidence) == (2, 0.75)


def test_a_silent_unit_changes_nothing_between_units() -> None:
    spans = resolve(1, 9, [], [seen(1), seen(5, None), seen(9)])
    assert brief(spans) == [(1, 9, "A", "inferred")]
    assert spans[0].units == 2


def test_a_silent_unit_counts_where_a_span_is_declared_and_where_nothing_is_known() -> None:
    assert resolve(1, 9, [declared(1, 9, "A")], [seen(5, None)])[0].units == 1
    unknown = resolve(1, 9, [], [seen(5, None)])
    assert (len(unknown), unknown[0].units, unknown[0].clinics) == (1, 1, 1)


def test_nothing_is_inferred_across_a_span_declared_as_another_revision() -> None:
    spans = resolve(1, 9, [declared(4, 5, "B")], [seen(1), seen(9)])
    assert [s.basis.value for s in spans] == ["observed", "unknown", "declared", "unknown", "observed"]


def test_a_span_declared_as_the_same_revision_does_not_hinder() -> None:
    spans = resolve(1, 9, [declared(4, 5, "A")], [seen(1), seen(9)])
    assert brief(spans) == [(1, 3, "A", "inferred"), (4, 5, "A", "declared"), (6, 9, "A", "inferred")]


def test_the_end_of_a_declared_span_is_no_observation() -> None:
    spans = resolve(1, 20, [declared(1, 9, "A")], [seen(15)])
    assert brief(spans)[1] == (10, 14, None, "unknown")


def test_a_unit_against_its_declared_span_is_a_conflict_and_costs_confidence() -> None:
    spans = resolve(1, 99, [declared(1, 99, "A")], [seen(10), seen(40, "B", "south")])
    (span,) = spans
    assert (span.revision, span.basis, span.units, span.clinics) == ("A", Basis.DECLARED, 1, 1)
    assert span.confidence == pytest.approx(3 / 5)
    (conflict,) = span.conflicts
    assert (conflict.revision, conflict.units, conflict.source) == ("B", 1, "clinic south")
    assert conflict.says == "S40 was seen as revision B by clinic south"


def test_the_conflict_is_said_for_any_serial_of_the_span() -> None:
    (span,) = resolve(70, 70, [declared(1, 99, "A")], [seen(40, "B")])
    assert (span.units, span.confidence, len(span.conflicts)) == (0, 0.5, 1)


def test_two_clinics_of_equal_weight_leave_a_unit_undecided() -> None:
    unit = Seen(5, "S5", frozenset({("north", "A"), ("south", "B")}))
    spans = resolve(1, 9, [], [seen(1), unit, seen(9)])
    assert brief(spans)[2] == (5, 5, None, "unknown")
    assert {c.revision for c in spans[2].conflicts} == {"A", "B"}
    assert [s.basis.value for s in spans] == ["observed", "unknown", "unknown", "unknown", "observed"]


def test_most_clinics_win_and_the_other_is_named() -> None:
    unit = Seen(5, "S5", frozenset({("north", "A"), ("south", "A"), ("east", "B")}))
    (span,) = resolve(5, 5, [], [unit])
    assert (span.revision, span.units, span.clinics) == ("A", 1, 2)
    assert span.confidence == pytest.approx(3 / 5)
    assert [c.revision for c in span.conflicts] == ["B"]


def test_an_observed_span_holds_over_its_length_but_a_unit_speaks_for_itself() -> None:
    spans = resolve(1, 20, [observed(5, 15, "A")], [seen(10, "B")])
    assert brief(spans) == [
        (1, 4, None, "unknown"),
        (5, 9, "A", "observed"),
        (10, 10, "B", "observed"),
        (11, 15, "A", "observed"),
        (16, 20, None, "unknown"),
    ]
    assert spans[1].contradicting == 1
    assert spans[2].conflicts[0].says == "observed as revision A by stock list"


def test_an_observed_span_against_a_declared_one_is_a_conflict() -> None:
    (span,) = resolve(1, 9, [declared(1, 9, "A"), observed(3, 4, "B")], [])
    assert (span.revision, span.confidence) == ("A", 0.5)
    assert [(c.revision, c.basis) for c in span.conflicts] == [("B", Basis.OBSERVED)]


def test_observed_spans_that_disagree_leave_their_overlap_unknown() -> None:
    spans = resolve(1, 30, [observed(1, 20, "A"), observed(11, 30, "B")], [])
    assert brief(spans) == [
        (1, 10, "A", "observed"),
        (11, 20, None, "unknown"),
        (21, 30, "B", "observed"),
    ]
    assert {c.revision for c in spans[1].conflicts} == {"A", "B"}


def test_observed_spans_of_one_revision_are_one_stretch() -> None:
    (span,) = resolve(1, 30, [observed(1, 20, "A"), observed(11, 30, "A")], [])
    assert (span.revision, span.supporting) == ("A", 2)


def test_first_after_last_is_refused() -> None:
    with pytest.raises(ValueError, match="after the last"):
        resolve(9, 1, [], [])


KEYS = st.integers(0, 60)
WORDS = st.sampled_from(["A", "B", None])
UNITS = st.lists(
    st.tuples(KEYS, st.frozensets(st.tuples(st.sampled_from("xyz"), WORDS), min_size=1, max_size=3)),
    max_size=12,
    unique_by=lambda unit: unit[0],
)
RANGES = st.tuples(KEYS, KEYS).map(lambda pair: (min(pair), max(pair)))


@st.composite
def said_spans(draw: st.DrawFn) -> list[Said]:
    edges = sorted(draw(st.lists(KEYS, max_size=6, unique=True)))
    apart = [
        declared(a, b, draw(st.sampled_from("AB"))) for a, b in zip(edges[::2], edges[1::2], strict=False)
    ]
    loose = [observed(*draw(RANGES), draw(st.sampled_from("AB"))) for _ in range(draw(st.integers(0, 2)))]
    return [*apart, *loose]


@settings(deadline=None)
@given(asked=RANGES, units=UNITS, said=said_spans())
def test_stretches_cover_what_was_asked_and_every_unit_is_answered_for(
    asked: tuple[int, int], units: list[tuple[int, frozenset[tuple[str, str | None]]]], said: list[Said]
) -> None:
    sightings = [Seen(key, f"S{key}", voices) for key, voices in units]
    spans = resolve(*asked, said, sightings)
    assert (spans[0].first, spans[-1].last) == asked
    assert all(before.last + 1 == after.first for before, after in itertools.pairwise(spans))
    assert all(span.first <= span.last for span in spans)
    for span in spans:
        assert (span.revision is None) == (span.basis is Basis.UNKNOWN) == (span.confidence is None)
        _check_units(span, sightings)
        _check_declared(span, said)


def _check_units(span: SubSpan, sightings: list[Seen]) -> None:
    inside = [unit for unit in sightings if span.first <= unit.key <= span.last]
    for unit in inside:
        for word in unit.words - {span.revision}:
            assert word in {conflict.revision for conflict in span.conflicts}
    assert span.units <= len(inside)
    if span.basis is Basis.INFERRED:
        assert not any(unit.word not in (span.revision, None) for unit in inside)


def _check_declared(span: SubSpan, said: list[Said]) -> None:
    for stored in said:
        if stored.basis is Basis.DECLARED and stored.first <= span.last and stored.last >= span.first:
            assert (span.revision, span.basis) == (stored.revision, Basis.DECLARED)


@settings(deadline=None)
@given(asked=RANGES, units=UNITS, said=said_spans(), place=KEYS)
def test_a_serial_alone_gets_the_same_revision_as_within_a_range(
    asked: tuple[int, int],
    units: list[tuple[int, frozenset[tuple[str, str | None]]]],
    said: list[Said],
    place: int,
) -> None:
    sightings = [Seen(key, f"S{key}", voices) for key, voices in units]
    (alone,) = resolve(place, place, said, sightings)
    within = [s for s in resolve(0, 60, said, sightings) if s.first <= place <= s.last]
    assert [(s.revision, s.confidence) for s in within] == [(alone.revision, alone.confidence)]


@settings(deadline=None)
@given(asked=RANGES, units=UNITS, said=said_spans(), most=st.integers(1, 4))
def test_the_first_few_stretches_are_those_of_the_whole_answer(
    asked: tuple[int, int],
    units: list[tuple[int, frozenset[tuple[str, str | None]]]],
    said: list[Said],
    most: int,
) -> None:
    sightings = [Seen(key, f"S{key}", voices) for key, voices in units]
    assert resolve(*asked, said, sightings, most=most) == resolve(*asked, said, sightings)[:most]


@settings(deadline=None)
@given(asked=RANGES, units=UNITS, said=said_spans(), most=st.integers(1, 4))
def test_going_on_from_a_cut_tells_the_same_as_asking_at_once(
    asked: tuple[int, int],
    units: list[tuple[int, frozenset[tuple[str, str | None]]]],
    said: list[Said],
    most: int,
) -> None:
    sightings = [Seen(key, f"S{key}", voices) for key, voices in units]
    first, told = asked[0], []
    while first <= asked[1]:
        told += resolve(first, asked[1], said, sightings, most=most)
        first = told[-1].last + 1
    assert told == resolve(*asked, said, sightings)
