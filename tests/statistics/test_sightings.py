"""What was said and seen: words, voices, and conflicts told in few words."""

import pytest

from registry.statistics.sightings import Basis, Conflict, Said, Seen, Voices, most_said, points_of


def seen(key: int, *voices: tuple[str, str | None]) -> Seen:
    return Seen(key, f"S{key}", frozenset(voices))


@pytest.mark.parametrize(
    ("words", "most"), [("AAB", "A"), ("AB", None), ("", None), ("B", "B"), ("ABBC", "B"), ("AABBC", None)]
)
def test_what_most_say(words, most) -> None:
    assert most_said(words) == most


def test_units_of_one_place_are_one_point() -> None:
    two = [seen(7, ("north", "A")), Seen(7, "S0007", frozenset({("south", "B")}))]
    points = points_of([seen(9, ("north", None)), *two])
    assert [(point.key, len(point.units)) for point in points] == [(7, 2), (9, 1)]
    assert points[0].is_disputed
    assert points[0].word is None
    assert points[1].units[0].is_silent


def test_confidence_is_the_rule_of_succession() -> None:
    assert Voices(0, 0).confidence == 1 / 2
    assert Voices(1, 0).confidence == 2 / 3
    assert Voices(3, 2).confidence == 4 / 7


def test_voices_count_each_clinic_and_each_span_and_no_silence() -> None:
    points = points_of([seen(1, ("north", "A"), ("south", None)), seen(2, ("north", "B"), ("south", "A"))])
    assert Voices.over(points, "A", spans_for=1, spans_against=2) == Voices(3, 3)


def test_many_units_and_clinics_are_told_by_the_first_few() -> None:
    units = [seen(key, (f"clinic{key}", "B")) for key in range(1, 9)]
    conflict = Conflict.of_units("B", units)
    assert conflict.units == 8
    assert conflict.says == (
        "S1, S2, S3 and 5 more were seen as revision B by clinics clinic1, clinic2, clinic3 and 5 more"
    )


def test_stored_spans_of_one_revision_and_basis_are_one_conflict() -> None:
    spans = [Said(n, n, "B", Basis.OBSERVED, f"list {n % 5}") for n in range(1000)]
    spans += [Said(1, 1, "C", Basis.OBSERVED, "")]
    one, other = Conflict.of_spans(spans)
    assert one.says == "observed as revision B by list 0, list 1, list 2 and 2 more"
    assert (one.revision, one.basis, one.units) == ("B", Basis.OBSERVED, 0)
    assert other.says == "observed as revision C by a source not named"
    assert Conflict.of_spans([]) == []
