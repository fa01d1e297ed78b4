"""The part-swaps document: part and base add up, the part's values are found, missing runs are named."""

import json
import re

import pytest

from registry.answers.comparing.swaps import answer_swap
from registry.errors import Invalid
from tests import factories

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east")
EFFECT = {("A", "cup"): 0.0, ("A", "dome"): -8.0, ("B", "cup"): -5.0, ("B", "dome"): -15.0}


@pytest.fixture
def model():
    return factories.pump_model()


def record(model, label, protector, *, units=4, start=0, value=240.0, effect=None, **changes):
    """Each unit of a base, run with a protector at its own clinic; units differ by 3 mmHg."""
    shift = EFFECT[label, protector] if effect is None else effect
    for k in range(units):
        number = start + (50_001 if label == "B" else 1) + k
        unit = factories.unit(model, f"LK{number:06}", label)
        wobble = 0.3 * ((k + len(protector)) % 2)
        at = value + 3 * k + 5 * (k % 3) + shift + wobble
        factories.summary(unit, at, CLINICS[k % 3], rig=factories.rig(protector), **changes)


def all_four(model, **changes):
    record(model, "A", "cup", units=6, **changes)
    record(model, "A", "dome", units=4, **changes)
    record(model, "B", "cup", units=4, **changes)
    record(model, "B", "dome", units=6, **changes)


def test_part_and_base_add_up_and_the_interaction_is_told(model) -> None:
    all_four(model)
    document = answer_swap("Lapwing One", "A", "B", "protector")
    assert (document["old_part"], document["new_part"]) == ("cup", "dome")
    (row,) = document["settings"]
    assert row["part"]["value"] == pytest.approx(-9, abs=0.4)
    assert row["base"]["value"] == pytest.approx(-6, abs=0.4)
    assert row["part"]["value"] + row["base"]["value"] == pytest.approx(row["total"]["value"], abs=1e-3)
    assert row["interaction"]["value"] == pytest.approx(-2, abs=0.6)
    assert row["part_on_old"]["value"] == pytest.approx(-8, abs=0.4)
    assert row["part_on_new"]["value"] == pytest.approx(-10, abs=0.4)
    for name in ("total", "part", "base", "interaction"):
        assert row[name]["low"] < row[name]["value"] < row[name]["high"]
    assert row["part"]["percent"] == pytest.approx(100 * row["part"]["value"] / row["old_value"], rel=1e-3)
    assert row["part"]["percent_low"] < row["part"]["percent"] < row["part"]["percent_high"]
    # Units are their own control for the part, not for the base.
    assert row["part"]["high"] - row["part"]["low"] < row["base"]["high"] - row["base"]["low"]
    assert row["units"] == [6, 4, 4, 6]
    assert row["rig"] == "duckbill / soft / 24 mm / 0 mL"
    assert document["missing"] == []
    assert document["says"].startswith(
        "Lapwing One, revision B against revision A, protector cup to dome: peak vacuum at expression 3 "
        "differs by -1"
    )
    assert "of it by the protector" in document["says"]
    assert document["cautions"]
    json.dumps(document)


def test_a_missing_combination_is_named_with_the_run_to_record(model) -> None:
    record(model, "A", "cup", units=6)
    record(model, "B", "dome", units=6)
    record(model, "B", "cup")
    document = answer_swap("Lapwing One", "A", "B", "protector")
    assert document["settings"] == []
    (lacking,) = document["missing"]
    assert (lacking["base"], lacking["part"], lacking["level"]) == ("revision A", "dome", "3")
    assert lacking["says"] == (
        "Record revision A with protector dome at expression 3 on mains, the rest of the rig as "
        "duckbill / soft / 24 mm / 0 mL."
    )
    assert lacking["says"] in document["says"]


def test_the_line_names_the_run_that_is_the_last_one_its_setting_lacks(model) -> None:
    record(model, "A", "cup", level="2")
    record(model, "A", "cup")
    record(model, "B", "dome")
    record(model, "B", "cup")
    document = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup")
    assert [row["level"] for row in document["missing"]] == ["2", "2", "2", "3"]
    assert "Record revision A with protector dome at expression 3 on mains" in document["says"]


def test_settings_that_can_be_split_are_and_the_others_are_named(model) -> None:
    all_four(model)
    record(model, "A", "cup", level="4")
    document = answer_swap("Lapwing One", "A", "B", "protector")
    assert [row["level"] for row in document["settings"]] == ["3"]
    assert {row["level"] for row in document["missing"]} == {"4"}
    assert len(document["missing"]) == 3
    assert document["says"].endswith("1 setting cannot be split yet; see what is missing.")


def test_without_another_part_nothing_can_be_split(model) -> None:
    record(model, "A", "cup")
    record(model, "B", "cup")
    document = answer_swap("Lapwing One", "A", "B", "protector")
    assert (document["old_part"], document["new_part"], document["settings"]) == ("cup", None, [])
    assert document["says"] == (
        "Lapwing One, revision B against revision A: nothing was measured with another protector than cup. "
        "Record each protector with revision A and revision B, both at expression 3 and with the rest of the "
        "rig alike."
    )


def test_the_one_part_there_is_belongs_to_one_build_only(model) -> None:
    record(model, "A", "cup")
    record(model, "B", "cup")
    document = answer_swap("Lapwing One", "A", "B", "protector", new_part="cup")
    assert (document["old_part"], document["new_part"], document["missing"]) == ("cup", None, [])


def test_the_run_to_record_is_at_the_setting_that_most_units_of_both_have(model) -> None:
    record(model, "A", "cup", units=6)
    record(model, "A", "cup", units=4, level="4")
    record(model, "B", "cup", units=2)
    record(model, "B", "cup", units=3, level="4")
    assert "both at expression 4 " in answer_swap("Lapwing One", "A", "B", "protector")["says"]


def test_a_part_that_nobody_named_and_a_setting_nobody_measured_are_told(model) -> None:
    record(model, "A", "", effect=0)
    record(model, "B", "", effect=0)
    says = answer_swap("Lapwing One", "A", "B", "protector")["says"]
    assert "no run of revision A names the protector. Record two of them, each with revision A and " in says
    nowhere = answer_swap("Lapwing One", "A", "B", "protector", level="9")["says"]
    assert nowhere.endswith("nothing was measured of what is asked for; none has level 9; there is 3.")


def test_whose_part_is_whose_is_asked_when_it_cannot_be_told(model) -> None:
    for label in "AB":
        for protector in ("cup", "dome"):
            record(model, label, protector)
    with pytest.raises(Invalid) as caught:
        answer_swap("Lapwing One", "A", "B", "protector")
    assert [fault.field for fault in caught.value.faults] == ["old_part"]
    assert "cup, dome" in caught.value.hint
    document = answer_swap("Lapwing One", "A", "B", "protector", new_part="Dome")
    assert (document["old_part"], document["new_part"]) == ("cup", "dome")
    assert document["settings"][0]["part"]["value"] == pytest.approx(-9, abs=0.4)
    turned = answer_swap("Lapwing One", "A", "B", "protector", old_part="dome", new_part="cup")
    assert turned["settings"][0]["part"]["value"] == pytest.approx(9, abs=0.4)


def test_the_rest_of_the_rig_has_to_be_alike(model) -> None:
    record(model, "A", "cup", units=6)
    record(model, "B", "dome", units=6)
    for label, protector in (("A", "dome"), ("B", "cup")):
        unit = factories.unit(model, f"LK{90 + len(protector) * 1000:06}", label)
        factories.summary(unit, 230.0, rig=factories.rig(protector, flange_mm=30.0))
    document = answer_swap("Lapwing One", "A", "B", "protector")
    assert document["settings"] == []
    assert len(document["missing"]) == 4


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"part": "membrane"}, "part"),
        ({"part": "protector", "old_part": "bell"}, "old_part"),
        ({"part": "protector", "old_part": "cup", "new_part": "cup"}, "new_part"),
    ],
)
def test_what_is_not_known_is_refused_by_field(model, asked, field) -> None:
    all_four(model)
    with pytest.raises(Invalid) as caught:
        answer_swap("Lapwing One", "A", "B", **asked)
    assert [fault.field for fault in caught.value.faults] == [field]


def test_a_size_is_a_part_too(model) -> None:
    for label, own in (("A", 24.0), ("B", 27.0)):
        for size in (24.0, 27.0):
            for k in range(5 if size == own else 3):
                unit = factories.unit(model, f"LK{(50_001 if label == 'B' else 1) + k:06}", label)
                value = 240.0 + 2 * k - (6 if size == 27.0 else 0)
                factories.summary(unit, value, CLINICS[k % 3], rig=factories.rig("cup", size))
    document = answer_swap("Lapwing One", "A", "B", "flange")
    assert (document["part"], document["old_part"], document["new_part"]) == ("flange_mm", "24 mm", "27 mm")
    assert "flange 24 mm to 27 mm" in document["says"]
    assert document["settings"][0]["part"]["value"] == pytest.approx(-6, abs=0.5)
    assert answer_swap("Lapwing One", "A", "B", "flange", old_part="24")["new_part"] == "27 mm"


@pytest.mark.parametrize("levels", [1, 5])
def test_the_number_of_queries_does_not_grow(model, levels, django_assert_num_queries) -> None:
    for level in range(levels):
        all_four(model, level=str(level))
    with django_assert_num_queries(7):
        answer_swap("Lapwing One", "A", "B", "protector")


def test_one_pump_of_each_with_both_parts_is_too_little_and_nothing_is_missing(model) -> None:
    for label, protector in EFFECT:
        record(model, label, protector, units=1)
    document = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="dome")
    assert (document["settings"], document["missing"]) == ([], [])
    assert "all four combinations were measured, but by too few units to split anything" in document["says"]
    for label, protector in EFFECT:
        record(model, label, protector, units=2, start=10)
    again = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="dome")
    assert len(again["settings"]) == 1


def test_two_lone_units_are_not_sent_to_record_more_units(model) -> None:
    for label in "AB":
        for protector in ("cup", "dome"):
            record(model, label, protector, units=1)
    asked = ("Lapwing One", "unit:LK000001", "unit:LK050001", "protector")
    document = answer_swap(*asked, old_part="cup")
    assert (document["settings"], document["missing"]) == ([], [])
    assert document["says"].endswith(
        "two units alone do not show what is chance; ask of their builds, or of one unit and a build."
    )


def test_bases_that_scatter_unlike_are_told_of(model) -> None:
    for label, wide in (("A", 1.0), ("B", 30.0)):
        for k in range(9):
            unit = factories.unit(model, f"LK{(50_001 if label == 'B' else 1) + k:06}", label)
            for protector in ("cup", "dome"):
                at = 240.0 + wide * ((k * 7) % 5 - 2) + EFFECT[label, protector] + 0.2 * (k % 2)
                factories.summary(unit, at, CLINICS[k % 3], rig=factories.rig(protector))
    document = answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="dome")
    assert len(document["settings"]) == 1
    told = "Units of revision B clearly scatter more than those of the other side at some settings"
    assert any(caution.startswith(told) for caution in document["cautions"])


def test_few_units_of_a_base_are_told_of(model) -> None:
    record(model, "A", "cup", units=6)
    record(model, "A", "dome", units=6)
    record(model, "B", "cup", units=2)
    record(model, "B", "dome", units=2)
    told = " ".join(
        answer_swap("Lapwing One", "A", "B", "protector", old_part="cup", new_part="dome")["cautions"]
    )
    assert "Two or three units stand for revision B" in told
    assert "Two or three units stand for revision A" not in told


def test_the_shares_have_the_digits_of_the_least_known_and_add_up(model) -> None:
    """Bases differ by no more than units do, so that tenths of it are not known; of the part they are."""
    all_four(model)
    document = answer_swap("Lapwing One", "A", "B", "protector")
    (row,) = document["settings"]
    told = re.search(
        r"differs by (\S+) mmHg, (\S+) of it by the protector and (\S+) by the base", document["says"]
    )
    assert [float(of) for of in told.groups()] == [
        round(row[of]["value"]) for of in ("total", "part", "base")
    ]
    assert row["part"]["high"] - row["part"]["low"] < 4 < row["base"]["high"] - row["base"]["low"]
    assert "." not in "".join(told.groups())
