"""The serials document: what is asked is covered, ends are spelled, disagreement is said."""

import pytest
from django.db.backends.postgresql.psycopg_any import NumericRange

from registry.answers.serials.answer import MOST_SPANS, answer_serials
from registry.errors import Invalid, UnknownPumpModel
from registry.models import SerialSpan, Unit
from tests import factories

pytestmark = pytest.mark.django_db


def brief(document):
    return [(s["first"], s["last"], s["revision"], s["basis"]) for s in document["spans"]]


@pytest.fixture
def model():
    return factories.pump_model()


def measured(model, serial, label=None, code="north", **kwargs):
    return factories.run(factories.unit(model, serial, label), code, label, **kwargs)


def test_a_range_over_declared_spans_and_a_gap(model) -> None:
    factories.span(model, "A", "LK000001", "LK000499")
    factories.span(model, "B", "LK000600", "LK000999")
    measured(model, "LK000120", "A")
    document = answer_serials("lapwing one", "LK000100", "LK000700")
    assert brief(document) == [
        ("LK000100", "LK000499", "A", "declared"),
        ("LK000500", "LK000599", None, "unknown"),
        ("LK000600", "LK000700", "B", "declared"),
    ]
    assert document["model"] == "Lapwing One"
    assert document["edition"] == 1
    assert document["says"] == (
        "LK000100 to LK000700: revision A (declared) from LK000100 to LK000499; which revision is not known "
        "from LK000500 to LK000599; revision B (declared) from LK000600 to LK000700."
    )
    assert document["cautions"]
    assert document["spans"][0]["units"] == 1


def test_one_serial(model) -> None:
    factories.span(model, "A", "LK000001", "LK000499")
    document = answer_serials("Lapwing One", "lk 000-123")
    assert brief(document) == [("LK000123", "LK000123", "A", "declared")]
    assert document["spans"][0]["confidence"] == pytest.approx(0.667)
    assert document["says"] == "LK000123: revision A (declared)."


def test_inferred_between_units_outside_the_range(model) -> None:
    measured(model, "LK000100", "A")
    measured(model, "LK000200", "A", "south")
    assert brief(answer_serials("Lapwing One", "LK000150")) == [("LK000150", "LK000150", "A", "inferred")]


def test_units_of_another_plant_say_nothing(model) -> None:
    measured(model, "XX000100", "A")
    measured(model, "XX000200", "A")
    assert brief(answer_serials("Lapwing One", "LK000150"))[0][2] is None


def test_held_and_withdrawn_runs_do_not_count(model) -> None:
    measured(model, "LK000100", "A", state="held")
    assert brief(answer_serials("Lapwing One", "LK000100"))[0][3] == "unknown"


def test_a_unit_against_the_declared_span_is_named(model) -> None:
    factories.span(model, "A", "LK000001", "LK000499")
    measured(model, "LK000123", "B", "south")
    (span,) = answer_serials("Lapwing One", "LK000001", "LK000499")["spans"]
    assert span["revision"] == "A"
    assert span["confidence"] == 0.5
    assert span["conflicts"] == [
        {
            "revision": "B",
            "basis": "observed",
            "source": "clinic south",
            "units": 1,
            "says": "LK000123 was seen as revision B by clinic south",
        }
    ]


def test_a_clinic_that_left_the_revision_out_once_is_one_voice(model) -> None:
    measured(model, "LK000123", "A")
    factories.run(factories.unit(model, "LK000123"), "north", None)
    (span,) = answer_serials("Lapwing One", "LK000123")["spans"]
    assert (span["units"], span["clinics"], span["supporting"]) == (1, 1, 1)


def test_ends_in_a_scheme_of_several_parts() -> None:
    model = factories.pump_model(
        "Whimbrel",
        pattern=r"(?P<year>\d{2})W(?P<week>\d{2})-(?P<number>\d{3})",
        order=["year", "week", "number"],
    )
    factories.span(model, "A", "24W10-000", "24W10-999")
    factories.span(model, "B", "24W12-100", "24W12-500")
    document = answer_serials("Whimbrel", "24W10-500", "24W12-600")
    assert brief(document) == [
        ("24W10-500", "24W10-999", "A", "declared"),
        ("24W10-999", "24W12-099", None, "unknown"),
        ("24W12-100", "24W12-500", "B", "declared"),
        ("24W12-501", "24W12-600", None, "unknown"),
    ]
    gap = document["spans"][1]
    assert (gap["first_excluded"], gap["last_excluded"]) == (True, False)
    assert "not known after 24W10-999 to 24W12-099" in document["says"]


def test_serials_without_leading_zeros_are_counted_on() -> None:
    factories.pump_model("Dunlin", pattern=r"D(?P<n>\d+)", order=["n"])
    model = answer_serials("Dunlin", "D9", "D1000")
    assert brief(model) == [("D9", "D1000", None, "unknown")]


def test_a_unit_amid_unpadded_serials() -> None:
    dunlin = factories.pump_model("Dunlin", pattern=r"D(?P<n>\d+)", order=["n"])
    measured(dunlin, "D1000", "A")
    assert brief(answer_serials("Dunlin", "D9", "D1200")) == [
        ("D9", "D999", None, "unknown"),
        ("D1000", "D1000", "A", "observed"),
        ("D1001", "D1200", None, "unknown"),
    ]


def test_places_of_many_digits_stay_exact() -> None:
    model = factories.pump_model(
        "Sanderling",
        pattern=r"(?P<a>[A-Z]{3})(?P<b>[A-Z]{2})(?P<c>\d{5})(?P<d>\d{5})",
        order=["a", "b", "c", "d"],
    )
    measured(model, "ZZZZZ9999912345", "A")
    document = answer_serials("Sanderling", "ZZZZZ9999912000", "ZZZZZ9999913000")
    assert brief(document)[0] == ("ZZZZZ9999912000", "ZZZZZ9999912344", None, "unknown")
    assert brief(document)[1][3] == "observed"


def test_unknown_model_names_the_nearest(model) -> None:
    with pytest.raises(UnknownPumpModel) as caught:
        answer_serials("Lapwing Two", "LK000001")
    assert caught.value.extra["nearest"] == ["Lapwing One"]


@pytest.mark.parametrize(
    ("first", "last", "field", "words"),
    [
        ("LK12?", None, "first", "not read as a serial"),
        ("LK000001", "nonsense", "last", "not read as a serial"),
        ("LK000009", "LK000001", "first", "comes after"),
        ("LK000001", "XX000009", "last", "different series"),
        ("", None, "first", "not read as a serial"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_field(model, first, last, field, words) -> None:
    factories.span(model, "A", "LK000001", "LK000499")
    with pytest.raises(Invalid, match=words) as caught:
        answer_serials("Lapwing One", first, last)
    assert [fault.field for fault in caught.value.faults] == [field]
    assert caught.value.hint


def test_an_unread_serial_gets_an_example(model) -> None:
    factories.span(model, "A", "LK000001", "LK000499")
    with pytest.raises(Invalid) as caught:
        answer_serials("Lapwing One", "LKS00001")
    assert "look like LK000001" in caught.value.hint


def test_a_model_without_a_scheme_says_who_can_help() -> None:
    factories.pump_model("Knot", pattern=None)
    with pytest.raises(Invalid, match="No serial scheme") as caught:
        answer_serials("Knot", "1")
    assert "curator" in caught.value.hint


@pytest.mark.parametrize("units", [1, 40])
def test_the_number_of_queries_does_not_grow(model, units, django_assert_num_queries) -> None:
    factories.span(model, "A", "LK000001", "LK000019")
    for number in range(1, units + 1):
        measured(model, f"LK{number:06}", "A")
    with django_assert_num_queries(3):
        answer_serials("Lapwing One", "LK000010", "LK000030")


def test_digits_and_letters_in_one_part_are_one_order() -> None:
    model = factories.pump_model("Godwit", pattern=r"(?P<n>[0-9A-Z]{3})", order=["n"])
    factories.span(model, "A", "00A", "00Z")
    assert brief(answer_serials("Godwit", "010")) == [("010", "010", None, "unknown")]
    assert brief(answer_serials("Godwit", "035")) == [("035", "035", None, "unknown")]
    assert brief(answer_serials("Godwit", "009", "010")) == [
        ("009", "009", None, "unknown"),
        ("00A", "00Z", "A", "declared"),
        ("010", "010", None, "unknown"),
    ]


def test_a_clinic_of_two_minds_on_one_unit_is_heard_twice(model) -> None:
    for label in ("A", "B", None, "A"):
        measured(model, "LK000123", label, "south")
    measured(model, "LK000123", "A", "north")
    (span,) = answer_serials("Lapwing One", "LK000123")["spans"]
    assert (span["revision"], span["clinics"], span["supporting"], span["contradicting"]) == ("A", 2, 2, 1)
    assert [c["says"] for c in span["conflicts"]] == ["LK000123 was seen as revision B by clinic south"]


def test_every_clinic_is_heard_whatever_else_was_withdrawn(model) -> None:
    for code in ("north", "south", "east", "west"):
        measured(model, "LK000123", "A", code)
        measured(model, "LK000123", "B", code, state="held")
    measured(model, "LK000124", "B", state="held")
    document = answer_serials("Lapwing One", "LK000123", "LK000124")
    assert [(s["revision"], s["clinics"], s["supporting"]) for s in document["spans"]] == [
        ("A", 4, 4),
        (None, 0, 0),
    ]


@pytest.fixture
def alternating(model):
    """A row of MOST_SPANS + 2 neighbouring units, A and B in turn, each with a run."""
    first = factories.unit(model, "LK000001", "A")
    units = [
        Unit(pump_model=model, serial=f"LK{n:06}", scheme=first.scheme, series="LK", key=n)
        for n in range(2, MOST_SPANS + 3)
    ]
    for number, unit in enumerate([first, *Unit.objects.bulk_create(units)]):
        factories.run(unit, "north", "AB"[number % 2])


@pytest.mark.usefixtures("alternating")
def test_a_long_answer_is_cut_and_says_how_to_go_on() -> None:
    document = answer_serials("Lapwing One", "LK000001", "LK000600")
    assert len(document["spans"]) == MOST_SPANS
    assert document["spans"][-1]["last"] == f"LK{MOST_SPANS:06}"
    assert document["next_first"] == f"LK{MOST_SPANS + 1:06}"
    assert document["says"].endswith(
        f"and 496 more stretches. Cut after 500 stretches: ask from {document['next_first']} for the rest."
    )
    rest = answer_serials("Lapwing One", document["next_first"], "LK000600")
    assert brief(rest) == [
        ("LK000501", "LK000501", "A", "observed"),
        ("LK000502", "LK000502", "B", "observed"),
        ("LK000503", "LK000600", None, "unknown"),
    ]
    assert rest["next_first"] is None


@pytest.mark.usefixtures("alternating")
def test_an_answer_that_just_fits_is_not_cut() -> None:
    document = answer_serials("Lapwing One", "LK000001", f"LK{MOST_SPANS:06}")
    assert len(document["spans"]) == MOST_SPANS
    assert document["next_first"] is None
    assert "Cut" not in document["says"]


def test_going_on_where_the_scheme_has_no_next_serial_repeats_the_last_one() -> None:
    model = factories.pump_model("Whimbrel", pattern=r"(?P<week>\d{3})-(?P<n>\d)", order=["week", "n"])
    for week in range(1, MOST_SPANS // 2 + 2):
        factories.span(model, "A", f"{week:03}-0", f"{week:03}-9")
    document = answer_serials("Whimbrel", "000-9", "251-9")
    assert len(document["spans"]) == MOST_SPANS
    assert document["next_first"] == document["spans"][-1]["last"] == "250-9"
    rest = answer_serials("Whimbrel", "250-9", "251-9")
    assert brief(rest) == [
        ("250-9", "250-9", "A", "declared"),
        ("250-9", "251-0", None, "unknown"),
        ("251-0", "251-9", "A", "declared"),
    ]
    assert rest["next_first"] is None


def test_one_serial_among_thousands_of_observed_spans_is_found(model) -> None:
    like = factories.span(model, "A", "LK000001", "LK000002", basis="observed")
    shared = {"pump_model": model, "scheme": like.scheme, "series": "LK", "basis": "observed", "source": "s"}
    by_turns = [factories.revision(model, label) for label in "AB"]
    SerialSpan.objects.bulk_create(
        SerialSpan(
            revision=by_turns[n % 2],
            first=f"LK{n * 10:06}",
            last=f"LK{n * 10 + 5:06}",
            keys=NumericRange(n * 10, n * 10 + 5, "[]"),
            **shared,
        )
        for n in range(1, 4000)
    )
    document = answer_serials("Lapwing One", "LK020003")
    assert brief(document) == [("LK020003", "LK020003", "A", "observed")]
