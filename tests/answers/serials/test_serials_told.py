"""What the serials document tells beside the revision: how it was read, when made, how sure, what lacks."""

from datetime import UTC, datetime
from typing import Any

import pytest

from registry.answers.serials import evidence
from registry.answers.serials.answer import answer_serials
from registry.answers.serials.asked import AskedRange, asked_range
from registry.errors import Invalid
from registry.models import PumpModel, Run, SerialScheme
from tests import factories

pytestmark = pytest.mark.django_db
MODEL = "Lapwing One"


@pytest.fixture
def model() -> PumpModel:
    return factories.pump_model()


def measured(model: PumpModel, serial: str, label: str | None = "A", code: str = "north") -> Run:
    return factories.run(factories.unit(model, serial, label), code, label)


def spans(first: str, last: str | None = None) -> list[dict[str, Any]]:
    told: list[dict[str, Any]] = answer_serials(MODEL, first, last)["spans"]
    return told


def test_it_tells_how_it_was_read(model):
    factories.span(model, "A", "LK000001", "LK004999")
    told = answer_serials(MODEL, "lk OO0001 - 4999")
    assert told["understood"] == {
        "typed": "lk OO0001 - 4999",
        "first": "LK000001",
        "last": "LK004999",
        "changes": [
            "read in capitals",
            "blanks and dashes left out",
            "letter O read as digit 0",
            "4999 taken for the last signs of LK004999",
        ],
        "scheme": r"(?P<plant>[A-Z]{2})(?P<number>\d{6})",
        "why_this_scheme": "",
    }
    assert [span["revision"] for span in told["spans"]] == ["A"]
    assert answer_serials(MODEL, "LK000001")["understood"]["changes"] == []


@pytest.mark.parametrize(
    ("first", "last", "changes"),
    [
        ("LK000001", "LK004999", []),
        ("LK000001 to LK004999", None, []),
        ("LK000001..LK004999", None, []),
        ("LK000001", "lk004999", ["read in capitals"]),
        ("lk000001 To LK004999", None, ["read in capitals"]),
    ],
)
def test_nothing_is_said_to_have_changed_that_was_typed_as_it_is(model, first, last, changes):
    understood = answer_serials(MODEL, first, last)["understood"]
    assert (understood["last"], understood["changes"]) == ("LK004999", changes)


def test_two_readings_are_refused_by_name():
    factories.pump_model("Dunlin", pattern=r"D(?P<n>\d+)", order=["n"])
    with pytest.raises(Invalid, match="can be read as D10002000 and as D1000 to D2000") as caught:
        answer_serials("Dunlin", "D1000-2000")
    assert caught.value.extra == {"readings": ["D10002000", "D1000 to D2000"]}
    assert caught.value.faults[0].field == "first"


def test_a_whole_serial_with_dots_has_no_end(model):
    with pytest.raises(Invalid, match="nothing says where a range from it ends"):
        answer_serials(MODEL, "LK000100..")


def test_which_of_two_forms_was_taken_is_said(model):
    SerialScheme.objects.create(
        pump_model=model, pattern=r"LK(?P<number>\d{6})", order=["number"], position=1
    )
    assert answer_serials(MODEL, "LK000001")["understood"]["why_this_scheme"] == (
        "2 forms of serial read it; the one declared first was taken."
    )


def test_it_tells_when_and_where_it_was_made():
    model = factories.pump_model(
        "Whimbrel", pattern=r"(?P<plant>[A-Z])(?P<yw>\d{4})(?P<n>\d{3})", order=["yw", "n"]
    )
    model.serial_schemes.update(date={"group": "yw", "form": "YYWW", "base": 2000}, plant="plant")
    told = answer_serials("Whimbrel", "K2410001", "K2412999")
    assert told["made"] == {
        "first": "2024-03-04",
        "last": "2024-03-24",
        "says": "week 10 of 2024 to week 12 of 2024",
        "year_by": "declared base",
    }
    assert told["plant"] == "K"
    assert answer_serials("Whimbrel", "K2499001")["made"] is None


def test_a_year_left_open_is_told_by_when_the_unit_was_seen():
    model = factories.pump_model("Whimbrel", pattern=r"(?P<n>\d{3})(?P<y>\d)", order=["n"])
    model.serial_schemes.update(date={"group": "y", "form": "Y"})
    run = factories.run(factories.unit(model, "0017", "A"), "north", "A")
    Run.objects.filter(pk=run.pk).update(recorded_at=datetime(2016, 5, 1, tzinfo=UTC))
    assert answer_serials("Whimbrel", "0017")["made"]["says"] == "2007"


def test_it_tells_when_units_were_first_and_last_seen(model):
    for number, day in ((1, 5), (2, 9), (3, 7)):
        run = measured(model, f"LK00000{number}")
        Run.objects.filter(pk=run.pk).update(recorded_at=datetime(2026, 3, day, tzinfo=UTC))
    (span,) = spans("LK000001", "LK000003")
    assert (span["first_seen"], span["last_seen"]) == ("2026-03-05", "2026-03-09")
    assert spans("LK000009")[0]["first_seen"] is None


def test_an_inferred_stretch_states_how_likely_it_is_and_nothing_else_does(model):
    for serial in ("LK000100", "LK000200", "LK000300"):
        measured(model, serial)
    before, row, after = spans("LK000050", "LK000400")
    assert (row["basis"], before["probability"], after["probability"]) == ("inferred", None, None)
    assert 0.8 < row["probability"] < 0.99
    within = spans("LK000150")[0]
    assert row["probability"] < within["probability"] <= 0.999
    assert spans("LK000200")[0]["probability"] is None


def test_builds_that_change_often_make_inferring_less_sure(model):
    for number in range(12):
        measured(model, f"LK{100 * number:06}", "A" if number > 9 else "AB"[number % 2])
    assert spans("LK001050")[0]["probability"] < 0.9


def test_what_would_fill_a_gap_is_said(model):
    measured(model, "LK000100", "A")
    measured(model, "LK000200", "B", "south")
    before, _, gap, _, after = spans("LK000050", "LK000400")
    tells = "a pump from here, or the maker's word, would tell"
    assert before["lacks"] == f"nothing is known before the first A; {tells}"
    assert gap["lacks"] == (
        "somewhere here A becomes B; a pump from here, best about LK000150, or the maker's word, "
        "would tell where"
    )
    assert after["lacks"] == f"nothing is known after the last B; {tells}"
    measured(model, "LK000150", None)
    assert "nobody said which revision" in spans("LK000120", "LK000180")[0]["lacks"]


def test_a_gap_between_declared_spans_of_one_revision_is_not_guessed_over(model):
    factories.span(model, "A", "LK000001", "LK000099")
    factories.span(model, "A", "LK000200", "LK000299")
    (gap,) = spans("LK000150")
    assert (gap["revision"], gap["basis"]) == (None, "unknown")
    assert gap["lacks"].endswith("would tell whether A goes on")


def test_what_lies_far_off_is_not_read_and_does_not_change_the_answer(model):
    for number in range(60):
        factories.span(model, "AB"[number // 2 % 2], f"LK{1000 * number:06}", f"LK{1000 * number + 499:06}")
        measured(model, f"LK{1000 * number + 700:06}", "AB"[number // 2 % 2])
    assert [spans(f"LK{1000 * n + 200:06}")[0]["revision"] for n in range(60)] == [
        "AB"[n // 2 % 2] for n in range(60)
    ]
    found = evidence.gather(_asked(model, "LK030200", "LK030200"))
    assert len(found.said) <= 21
    assert len(found.seen) <= 20


def test_a_range_of_too_many_units_is_cut_and_goes_on_from_there(model, monkeypatch):
    monkeypatch.setattr(evidence, "MOST_UNITS_READ", 3)
    for number in range(8):
        measured(model, f"LK00000{number}", "AB"[number % 2])
    told, first = [], "LK000000"
    while first:
        part = answer_serials(MODEL, first, "LK000009")
        told += part["spans"]
        first = part["next_first"]
    assert [(s["first"], s["revision"]) for s in told] == [
        *((f"LK00000{n}", "AB"[n % 2]) for n in range(8)),
        ("LK000008", None),
    ]


def _asked(model: PumpModel, first: str, last: str) -> Any:
    asked = asked_range(model, list(model.serial_schemes.all()), first, last)
    return AskedRange(asked.first, asked.last)


def succeeding(model: PumpModel, old_era: int | None, new_era: int | None) -> None:
    model.serial_schemes.update(era=old_era)
    SerialScheme.objects.create(
        pump_model=model, pattern=r"(?P<plant>[A-Z]{2})N(?P<number>\d{4})", order=["number"], position=1,
        era=new_era,
    )  # fmt: skip


def test_a_range_goes_on_into_the_form_that_succeeded(model):
    succeeding(model, 1, 2)
    factories.span(model, "A", "LK000001", "LK004999")
    factories.span(model, "B", "LKN0001", "LKN0999")
    told = [(s["first"], s["last"], s["revision"]) for s in spans("LK004000", "LKN0100")]
    assert told == [
        ("LK004000", "LK004999", "A"),
        ("LK004999", "LKN0001", None),
        ("LKN0001", "LKN0100", "B"),
    ]
    between = spans("LK004000", "LKN0100")[1]
    assert (between["first_excluded"], between["last_excluded"]) == (True, True)
    assert "one form of serial follows another" in between["lacks"]
    with pytest.raises(Invalid, match="later form"):
        answer_serials(MODEL, "LKN0100", "LK004000")


def test_forms_in_no_declared_order_are_no_range(model):
    succeeding(model, None, None)
    with pytest.raises(Invalid, match="different series"):
        answer_serials(MODEL, "LK004000", "LKN0100")
