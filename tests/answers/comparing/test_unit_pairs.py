"""A unit is compared with a build from a part made ahead, as it is from summaries."""

import random
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.answers.comparing import contrasts_kept, unit_pairs
from registry.answers.comparing.comparisons import answer_comparison
from registry.answers.comparing.contrasts_kept import CONTRASTS
from registry.answers.comparing.heights import HEIGHTS
from registry.answers.comparing.side_parts import READINGS
from registry.answers.comparing.unit_pairs import UNITS
from registry.answers.keeping import parts as kept_parts
from registry.answers.keeping.parts import Place, made, made_all
from registry.answers.served import ahead as kept_ahead
from registry.answers.served.ahead import make_ahead
from registry.answers.served.kept import look
from registry.answers.served.questions import Question
from registry.errors import Invalid
from registry.models import BenchSession, PumpModel, Unit, UnitSummary
from tests import factories
from tests.answers.comparing.test_contrasts import ASKED, CLINICS, fill, told

pytestmark = pytest.mark.django_db

MODEL = "Lapwing One"
CAN_TELL = sorted(set(ASKED) - {"programme"})  # not left to the database
# LK000004 is of B, LK000012 of A, LK000008 of C.
OWN, NEXT, FAR = ("unit:LK000004", "B"), ("unit:LK000004", "A"), ("unit:LK000012", "C")


@pytest.fixture
def model(monkeypatch) -> PumpModel:
    """A model whose units were read at elevations that differ within a band, with these parts alone ahead."""
    monkeypatch.setattr(kept_ahead, "_nothing_to_do_at", [])
    monkeypatch.setattr(kept_ahead, "KINDS", (HEIGHTS, UNITS))
    found = factories.pump_model(revisions=("A", "B", "C"))
    for code, metres in zip(CLINICS, (20, 480, 2100), strict=True):
        sitting(code, metres)
    return found


def sitting(code: str, metres: float) -> None:
    """A clinic's sitting at an elevation."""
    person = factories.operator(code)
    BenchSession.objects.create(clinic=person.clinic, operator=person, elevation_m=metres, power="mains")


@pytest.fixture
def worked_out(monkeypatch) -> list[Any]:
    """The fixed units of what was fitted when it was asked for."""
    found: list[Any] = []
    anew = contrasts_kept.contrasts_between
    monkeypatch.setattr(contrasts_kept, "contrasts_between", lambda *of: found.append(of[3]) or anew(*of))
    return found


def asked_of(chance: random.Random, count: int) -> list[tuple[list[str], dict[str, Any]]]:
    """A unit and a build in any order, narrowed by some filters and judged by some margins."""
    found = []
    for _ in range(count):
        sides = [f"unit:LK{chance.choice((1, 3, 4, 8, 9, 13, 20)):06}", chance.choice("ABC")]
        chance.shuffle(sides)
        names = chance.sample(sorted(ASKED), chance.choice([0, 1, 1, 2, 3]))
        found.append((sides, {name: chance.choice(ASKED[name]) for name in names}))
    return found


@pytest.mark.parametrize(("seed", "spread"), [(1, 1), (2, 2), (3, 3)])
def test_a_unit_against_a_build_is_told_alike_kept_or_not(model, worked_out, seed, spread) -> None:
    chance = random.Random(seed)
    fill(chance, model, spread)
    asked = asked_of(chance, 60)
    from_summaries = [told(answer_comparison, *sides, **rest) for sides, rest in asked]
    assert sum(bool(document["settings"]) for document in from_summaries) > 20
    assert make_ahead(calm_s=0) > 40
    worked_out.clear()
    kept = 0
    for (sides, rest), expected in zip(asked, from_summaries, strict=True):
        before = len(worked_out)
        assert told(answer_comparison, *sides, **rest) == expected, (sides, rest)
        kept += len(worked_out) == before
    assert 20 < kept < 60


def test_own_and_next_builds_need_no_fit_in_the_main_metrics(model, worked_out) -> None:
    fill(random.Random(4), model, 2)
    make_ahead(calm_s=0)
    for sides in (OWN, NEXT, OWN[::-1], NEXT[::-1]):
        for rest in ({}, *({name: ASKED[name][0]} for name in CAN_TELL)):
            answer_comparison(MODEL, *sides, **rest)
    assert worked_out == []


def test_all_else_is_fitted_when_it_is_asked_for(model, worked_out) -> None:
    fill(random.Random(5), model, 3)
    make_ahead(calm_s=0)
    asked: list[tuple[tuple[str, str], dict[str, Any]]] = [
        (OWN, {"metric": "all"}),
        (OWN, {"metric": "duty_factor"}),
        (OWN, {"programme": "sömmer"}),
        (FAR, {}),
        (("unit:LK000011", "B"), {}),  # of no known build
        (("unit:LK000004", "unit:LK000008"), {}),
    ]
    for number, (sides, rest) in enumerate(asked, start=1):
        answer_comparison(MODEL, *sides, **rest)
        assert len(worked_out) == number, (sides, rest)


def test_old_and_new_the_other_way_round_tell_the_same_of_a_unit(model) -> None:
    fill(random.Random(6), model, 2)
    there, back = (told(answer_comparison, *sides) for sides in (OWN, OWN[::-1]))
    assert len(there["settings"]) > 4
    for row, other in zip(there["settings"], back["settings"], strict=True):
        assert row["difference"] == -other["difference"]
        assert (row["old"], row["units_new"]) == (other["new"], other["units_old"])


def statements(*sides: str) -> tuple[int, Any]:
    """How many statements a question takes that nobody asked yet, and its answer."""
    question = Question.of("comparisons", {"model": MODEL, "old": sides[0], "new": sides[1]}, None)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        document = question.answer(look(question).ground)
    return len(asked), {**document, "as_of": None}


def apart(model: PumpModel) -> None:
    """Units of two builds that one clinic read, but for one that was read higher up in the same band."""
    for number in range(12):
        code = "south" if number == 4 else "north"
        unit = factories.unit(model, f"LK{number:06}", "AB"[number % 2])
        factories.summary(unit, 200.0 + number % 5, code, elevation="below 500 m")


@pytest.mark.parametrize("sides", [("unit:LK000004", "A"), ("B", "unit:LK000004")])
def test_a_question_about_a_unit_takes_two_statements(model, sides) -> None:
    apart(model)
    expected = told(answer_comparison, *sides)
    assert any("at about 480 m" in caution for caution in expected["cautions"])
    make_ahead(calm_s=0)
    assert statements(*sides) == (2, expected)


def test_two_builds_take_two_statements_where_elevations_differ(model, monkeypatch) -> None:
    for number in range(12):
        unit = factories.unit(model, f"LK{number:06}", "AB"[number % 2])
        factories.summary(unit, 200.0 + number % 5, CLINICS[number % 2], elevation="below 500 m")
    monkeypatch.setattr(kept_ahead, "KINDS", (HEIGHTS, CONTRASTS))
    expected = told(answer_comparison, "A", "B")
    assert any("at about 20 m" in caution for caution in expected["cautions"])
    make_ahead(calm_s=0)
    assert statements("A", "B") == (2, expected)


def test_a_sitting_at_another_elevation_is_told_at_once_and_needs_no_new_fit(model, worked_out) -> None:
    apart(model)
    make_ahead(calm_s=0)
    sides = ("unit:LK000004", "A")
    assert any("about 480 m" in caution for caution in answer_comparison(MODEL, *sides)["cautions"])
    for metres in (300, 310):
        sitting("south", metres)
    count, document = statements(*sides)
    assert not any("thin air" in caution for caution in document["cautions"])
    assert (count, worked_out) == (3, [])
    assert make_ahead(calm_s=0) == 1
    assert statements(*sides) == (2, document)


def test_a_serial_may_be_typed_otherwise(model, worked_out) -> None:
    fill(random.Random(8), model, 2)
    expected = told(answer_comparison, *OWN)
    make_ahead(calm_s=0)
    worked_out.clear()
    for typed in ("lk000004", " LK000004 ", "lk 000-004", "LK-000004"):
        assert told(answer_comparison, f"unit:{typed}", "B") == expected
    assert worked_out == []


def test_of_two_spellings_the_scheme_decides_which_unit_is_meant(model) -> None:
    model.serial_schemes.update(pattern=r"(?P<plant>[A-Z]{2})-(?P<number>\d{6})")
    for number in range(8):
        for serial, off in ((f"LK-{number:06}", 0), (f"LK{number:06}", 30)):
            factories.summary(factories.unit(model, serial, "A"), 200.0 + off + number, "north")
    asked = [("unit:lk-000003", "A"), ("unit:lk000003", "A"), ("unit:lk 000003", "A")]
    expected = [told(answer_comparison, *sides) for sides in asked]
    assert expected[0]["settings"][0]["old"] == expected[1]["settings"][0]["old"] - 30
    make_ahead(calm_s=0)
    assert [told(answer_comparison, *sides) for sides in asked] == expected


REFUSED = [
    (("unit:LK999999", "B"), "old", "No unit of Lapwing One with the serial 'LK999999'"),
    (("B", "unit:lk 999999"), "new", "No unit of Lapwing One with the serial 'lk 999999'"),
    (("unit:LK999999", "nonesuch"), "old", "No unit of Lapwing One with the serial 'LK999999'"),
    (("unit:LK999999", "unit: lk999999"), "old", "No unit of Lapwing One with the serial 'LK999999'"),
    (("unit:LK999998", "unit:LK999999"), "old", "No unit of Lapwing One with the serial 'LK999998'"),
    (("unit:--", "nonesuch"), "old", "No unit of Lapwing One with the serial '--'"),
    (("unit:LK000004", "unit:lk-000004"), "new", "Both sides are unit LK000004"),
    (("unit:LK000004", "nonesuch"), "new", "Lapwing One has no revision"),
]


def test_a_unit_nobody_measured_is_refused_on_its_field(model) -> None:
    fill(random.Random(9), model, 1)
    for kept in (False, True):
        if kept:
            make_ahead(calm_s=0)
        for sides, field, detail in REFUSED:
            with pytest.raises(Invalid) as refused:
                answer_comparison(MODEL, *sides)
            assert [fault.field for fault in refused.value.faults] == [field]
            assert detail in refused.value.detail


CHANGES: dict[str, Callable[[], object]] = {
    "a summary": lambda: UnitSummary.objects.filter(unit__serial="LK000004").update(mean=150.0),
    "another unit": lambda: UnitSummary.objects.filter(unit__serial="LK000007").update(mean=150.0),
    "its build": lambda: Unit.objects.filter(serial="LK000004").update(
        revision=factories.revision(PumpModel.objects.get(), "A")
    ),
    "another unit's build": lambda: Unit.objects.filter(serial="LK000007").update(
        revision=factories.revision(PumpModel.objects.get(), "A")
    ),
    "its serial": lambda: Unit.objects.filter(serial="LK000001").update(serial="LK100001"),
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_what_changed_is_told_at_once(model, worked_out, change) -> None:
    fill(random.Random(10), model, 2)
    make_ahead(calm_s=0)
    worked_out.clear()
    change()
    document = told(answer_comparison, *OWN)
    assert worked_out
    make_ahead(calm_s=0)
    assert statements(*OWN) == (2, document)


def test_a_unit_that_moved_is_held_against_the_builds_next_to_its_new_one(model) -> None:
    fill(random.Random(11), model, 1)
    unit = factories.unit(model, "LK000012")
    c = factories.revision(model, "C")
    assert f"{c.pk}:LK000012" not in set(UNITS.keys(model.pk, 1))
    Unit.objects.filter(pk=unit.pk).update(revision=c)
    a, b = (factories.revision(model, label).pk for label in "AB")
    of_it = {key for key in UNITS.keys(model.pk, 1) if key.endswith(":LK000012")}
    assert of_it == {f"{b}:LK000012", f"{c.pk}:LK000012"}
    assert f"{a}:LK000012" not in of_it


def test_of_very_many_units_those_that_came_last_have_parts(model, monkeypatch) -> None:
    fill(random.Random(12), model, 1)
    monkeypatch.setattr(unit_pairs, "MOST_UNITS", 3)
    # Each is held against its own build and those next to it: B has two of these.
    serials = [key.partition(":")[2] for key in UNITS.keys(model.pk, 1)]
    assert {serial: serials.count(serial) for serial in serials} == {
        "LK000021": 2,
        "LK000020": 2,
        "LK000023": 2,
    }


def test_parts_made_together_are_those_made_one_by_one(model, django_assert_max_num_queries) -> None:
    fill(random.Random(13), model, 2)
    keys = list(UNITS.keys(model.pk, 1))
    assert len(keys) > 40
    # What is asked once, and three statements for each of the seven pairs of builds.
    with django_assert_max_num_queries(3 + 7 * 3):
        together = made_all(UNITS, 1, model.pk, keys)
    assert Place(UNITS, 1, model.pk).good() == set(keys)
    some = random.Random(13).sample(list(zip(keys, together, strict=True)), 8)
    assert [made(UNITS, 1, model.pk, key) for key, _ in some] == [body for _, body in some]
    for key in READINGS.keys(model.pk, 1):
        made(READINGS, 1, model.pk, key)
    with django_assert_max_num_queries(3 + 7):
        assert made_all(UNITS, 1, model.pk, keys) == together


def test_a_unit_that_is_gone_meanwhile_has_no_part(model) -> None:
    fill(random.Random(14), model, 1)
    b = factories.revision(model, "B").pk
    assert made_all(UNITS, 1, model.pk, [f"{b}:LK000004", f"{b}:LK777777"])[1] == kept_parts.NOTHING
