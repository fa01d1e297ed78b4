"""The settings-matches document: how likely a need is met, and what is most like an old setting."""

import json

import pytest

from registry.answers.matching.settings import answer_settings
from registry.errors import Invalid, UnknownPumpModel
from tests import factories
from tests.answers.matching.measured import CLINICS, setting

pytestmark = pytest.mark.django_db

NEEDS = {"rate": "70..", "vacuum": "200..240"}


@pytest.fixture
def model():
    return factories.pump_model()


def test_settings_come_by_how_likely_the_next_unit_meets_the_need(model) -> None:
    setting(model, "A", "3", 75, 220)
    setting(model, "A", "4", 70, 235)
    setting(model, "A", "5", 62, 260)
    setting(model, "B", "3", 68, 220)
    document = answer_settings("Lapwing One", needs=NEEDS)
    told = [(row["revision"], row["level"], round(row["probability"], 1)) for row in document["settings"]]
    assert told[0] == ("A", "3", 1.0)
    assert told[1][:2] == ("A", "4")
    assert 0.25 < document["settings"][1]["probability"] < 0.6
    assert {row[2] for row in told[2:]} <= {0.0, 0.1}
    first = document["settings"][0]
    assert (first["units"], first["clinics"], first["state"]) == (9, 3, "ok")
    assert first["metrics"]["cycle_rate"]["centre"] == pytest.approx(75, abs=0.5)
    assert first["metrics"]["cycle_rate"]["predict_low"] < 75 < first["metrics"]["cycle_rate"]["predict_high"]
    assert first["metrics"]["peak_vacuum"]["probability"] >= first["probability"] - 1e-6
    assert document["needs"] == {"cycle_rate": "70..", "peak_vacuum": "200..240"}
    assert document["says"].startswith(
        "Lapwing One, cycle rate of at least 70 and peak vacuum of 200 to 240: best is revision A at "
        "expression 3, met by "
    )
    assert "More vacuum is not more milk and can injure." in document["cautions"]
    json.dumps(document)


def test_narrowed_to_a_revision_or_widened_to_every_pump(model) -> None:
    other = factories.pump_model("Lapwing Two")
    setting(model, "A", "3", 75, 220)
    setting(model, "B", "3", 66, 220)
    setting(other, "A", "9", 80, 221)
    assert {
        row["revision"] for row in answer_settings("Lapwing One", needs=NEEDS, revision="b")["settings"]
    } == {"B"}
    everywhere = answer_settings(needs=NEEDS)
    assert {row["model"] for row in everywhere["settings"]} == {"Lapwing One", "Lapwing Two"}
    assert everywhere["says"].startswith("All pumps, ")
    assert answer_settings("Lapwing One", needs=NEEDS, rig="bell")["settings"] == []
    assert len(answer_settings("Lapwing One", needs=NEEDS, mode="expression", rig="cup")["settings"]) == 2


def test_a_need_nobody_is_likely_to_meet_is_said_plainly(model) -> None:
    setting(model, "A", "5", 62, 260)
    says = answer_settings("Lapwing One", needs=NEEDS)["says"]
    assert "no setting is likely to meet it; nearest is revision A at expression 5" in says
    assert "no setting was measured" in answer_settings("Lapwing One", needs={"duty_factor": "..0.5"})["says"]


def test_no_setting_is_called_the_nearest_where_none_comes_near(model) -> None:
    setting(model, "A", "3", 62, 220)
    setting(model, "A", "5", 62, 260)
    says = answer_settings("Lapwing One", needs={"vacuum": "1000.."})["says"]
    assert says.endswith("no setting comes near to meeting it.")


def test_a_thin_setting_has_no_probability_and_comes_last(model) -> None:
    setting(model, "A", "3", 75, 220, units=2)
    setting(model, "A", "4", 60, 220)
    document = answer_settings("Lapwing One", needs=NEEDS)
    thin = document["settings"][-1]
    assert (thin["level"], thin["state"], thin["probability"]) == ("3", "thin", None)
    assert thin["missing"] == "1 more unit"
    assert document["settings"][0]["missing"] == ""
    only = answer_settings("Lapwing One", needs=NEEDS, mode="expression", revision="A", programme="")
    assert only["settings"] == document["settings"]


def test_a_setting_without_one_of_the_metrics_is_no_match(model) -> None:
    for k in range(6):
        factories.summary(factories.unit(model, f"LK{k + 1:06}", "A"), 220.0, CLINICS[k % 3])
    assert answer_settings("Lapwing One", needs=NEEDS)["settings"] == []
    assert len(answer_settings("Lapwing One", needs={"vacuum": "200.."})["settings"]) == 1


def test_settings_over_every_pump_are_bounded_and_name_their_pump(model) -> None:
    for number in range(3):
        pump = factories.pump_model(f"Pump {number}")
        for level in range(1, 5):
            setting(pump, "A", str(level), 60 + 5 * level + number, 190 + 10 * level)
    document = answer_settings(needs=NEEDS)
    assert document["model"] is None
    assert {row["model"] for row in document["settings"]} == {"Pump 0", "Pump 1", "Pump 2"}
    chances = [row["probability"] for row in document["settings"]]
    assert chances == sorted(chances, reverse=True)
    assert document["says"].startswith("All pumps, ")
    assert f"best is {document['settings'][0]['model']} revision A at expression" in document["says"]


def test_no_more_are_listed_than_asked_for_and_the_rest_is_counted(model) -> None:
    for level in range(1, 8):
        setting(model, "A", str(level), 60 + 2 * level, 190 + 10 * level)
    every = answer_settings("Lapwing One", needs=NEEDS)
    meeting = answer_settings("Lapwing One", needs=NEEDS, most=3)
    assert (meeting["settings"], meeting["left_off"]) == (every["settings"][:3], 4)
    assert meeting["says"] == every["says"]
    near = answer_settings("Lapwing One", like="A:expression:3")
    like = answer_settings("Lapwing One", like="A:expression:3", most=2)
    assert (like["settings"], like["left_off"]) == (near["settings"][:2], 4)
    assert [row["level"] for row in like["settings"]] == ["2", "4"]
    assert like["says"] == near["says"]


def test_of_every_pump_a_few_are_listed_unless_more_are_asked_for(model) -> None:
    for level in range(1, 15):
        for revision in "AB":
            setting(model, revision, str(level), 60 + level, 190 + level, units=3)
    assert len(answer_settings("Lapwing One", needs=NEEDS)["settings"]) == 28
    assert len(answer_settings("Lapwing One", like="A:expression:3")["settings"]) == 25
    few = answer_settings(needs=NEEDS)
    assert (len(few["settings"]), few["left_off"]) == (25, 3)
    more = answer_settings(needs=NEEDS, most=26)
    assert (len(more["settings"]), more["left_off"]) == (26, 2)
    assert more["settings"][:25] == few["settings"]
    assert more["says"] == few["says"] == answer_settings(needs=NEEDS, most=1)["says"]


@pytest.mark.parametrize("pumps", [1, 4])
def test_every_pump_costs_no_more_queries_than_one(model, django_assert_max_num_queries, pumps) -> None:
    for number in range(pumps):
        setting(factories.pump_model(f"Pump {number}"), "A", "3", 75, 220)
    with django_assert_max_num_queries(7):
        assert len(answer_settings(needs=NEEDS)["settings"]) == pumps


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({}, "rate"),
        ({"needs": NEEDS, "most": 0}, "most"),
        ({"needs": NEEDS, "most": 201}, "most"),
        ({"needs": NEEDS, "like": "A:expression:5"}, "rate"),
        ({"needs": {"rate": "fast"}}, "rate"),
        ({"needs": {"vacuum": "240..200"}}, "vacuum"),
        ({"needs": {"rate": ".."}}, "rate"),
        ({"needs": {"rate": "70..", "cycle_rate": "60.."}}, "cycle_rate"),
        ({"like": "A:expression"}, "like"),
        ({"like": "Z:expression:5"}, "like"),
        ({"like": "A:rest:5"}, "like"),
        ({"like": "A:expression:77"}, "like"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_field(model, asked, field) -> None:
    setting(model, "A", "5", 75, 220, units=1)
    with pytest.raises(Invalid) as caught:
        answer_settings("Lapwing One", **asked)
    assert [fault.field for fault in caught.value.faults] == [field]


def test_a_revision_or_a_likeness_without_a_model_is_refused(model) -> None:
    for asked in ({"needs": NEEDS, "revision": "A"}, {"like": "A:expression:5"}):
        with pytest.raises(Invalid):
            answer_settings(**asked)
    with pytest.raises(UnknownPumpModel):
        answer_settings("Nothing of the kind", needs=NEEDS)


@pytest.mark.parametrize("levels", [2, 6])
def test_the_number_of_queries_does_not_grow(model, levels, django_assert_num_queries) -> None:
    for level in range(levels):
        setting(model, "A", str(level), 70, 220)
    with django_assert_num_queries(6):
        answer_settings("Lapwing One", needs=NEEDS)
    with django_assert_num_queries(6):
        answer_settings("Lapwing One", like="A:expression:0")


def test_a_share_of_lost_cycles_never_falls_below_nought(model) -> None:
    lost = {"metric": "loss_rate", "metric_unit": "per 100 cycles", "sum_squares": 0.0, "u_random": 1.0}
    for k in range(9):
        factories.summary(factories.unit(model, f"LK{k + 1:06}", "A"), 0.0, CLINICS[k % 3], **lost)
    (row,) = answer_settings("Lapwing One", needs={"loss_rate": "0..1"})["settings"]
    assert row["metrics"]["loss_rate"]["predict_low"] == 0.0
    # None of nine units lost any, so 10 in 11 will lose none, and no fewer at most one.
    assert row["probability"] == pytest.approx(10 / 11, abs=1e-4)
    (row,) = answer_settings("Lapwing One", needs={"loss_rate": "0.."})["settings"]
    assert row["probability"] == 1.0
    (row,) = answer_settings("Lapwing One", needs={"loss_rate": "-5..-1"})["settings"]
    assert row["probability"] == 0.0


def test_no_loss_at_all_goes_by_how_many_units_never_showed_any(model) -> None:
    lost = {"metric": "loss_rate", "metric_unit": "per 100 cycles", "sum_squares": 0.0, "u_random": 1.0}
    for k in range(8):
        unit = factories.unit(model, f"LK{k + 1:06}", "A")
        factories.summary(unit, 0.0, CLINICS[k % 3], **lost)
        factories.summary(unit, 3.0 if k == 0 else 0.0, CLINICS[k % 3], **lost, level="6")
    document = answer_settings("Lapwing One", needs={"loss_rate": "..0"})
    chances = {row["level"]: row["probability"] for row in document["settings"]}
    assert chances == pytest.approx({"3": 9 / 10, "6": 8 / 10}, abs=1e-4)
    assert document["cautions"][0].startswith("A chance of loss rate 0 goes by how many units never showed")
    assert "rule of succession" not in " ".join(
        answer_settings("Lapwing One", needs={"loss_rate": "..5"})["cautions"]
    )


def test_units_of_no_known_build_are_in_the_table_and_never_the_best(model) -> None:
    setting(model, None, "2", 75, 220, start=20_000)
    setting(model, "A", "3", 74, 228)
    document = answer_settings("Lapwing One", needs=NEEDS)
    assert [row["revision"] for row in document["settings"]] == [None, "A"]
    assert "best is revision A at expression 3" in document["says"]
    setting(model, "B", "3", 60, 228)
    far = answer_settings("Lapwing One", needs=NEEDS, revision="B")["says"]
    assert "no setting is likely to meet it; nearest is revision B" in far
    like = answer_settings("Lapwing One", like="A:expression:3")
    assert like["settings"][0]["revision"] is None
    assert "nearest is revision B at expression 3" in like["says"]


def test_of_units_of_no_known_build_alone_no_best_is_named(model) -> None:
    setting(model, None, "2", 75, 220, start=20_000)
    says = answer_settings("Lapwing One", needs=NEEDS)["says"]
    assert says.endswith("told of units of no known build alone; 1 setting more likely than not.")
    other = factories.pump_model("Lapwing Two")
    setting(other, "A", "5", 75, 220)
    like = answer_settings("Lapwing One", like="A:expression:5", like_model="Lapwing Two")
    assert like["says"].endswith("only units of no known build were measured alike to hold against it.")


def test_a_known_build_is_named_however_many_of_no_known_build_come_before_it(model) -> None:
    for level in range(1, 28):
        setting(model, None, str(level), 75, 220, units=3, start=20_000)
    setting(model, "A", "3", 74, 223, units=3)
    meeting = answer_settings(needs=NEEDS)
    assert {row["revision"] for row in meeting["settings"]} == {None}
    assert "best is Lapwing One revision A at expression 3" in meeting["says"]
    other = factories.pump_model("Lapwing Two")
    setting(other, "A", "5", 75, 220, units=3)
    like = answer_settings(like="A:expression:5", like_model="Lapwing Two")
    assert {row["revision"] for row in like["settings"]} == {None}
    assert "Lapwing One revision A at expression 3" in like["says"]


@pytest.mark.parametrize(
    ("asked", "instead"),
    [
        ({"rig": "domed"}, "none has rig 'domed'; there is cup / duckbill / soft / 24 mm / 0 mL."),
        ({"mode": "stimulation"}, "none has mode stimulation; there is expression."),
        ({"revision": "B"}, "none has revision B; there is A."),
        (
            {"needs": {"duty_factor": "..0.5"}},
            "none has metric duty factor; there are cycle rate, peak vacuum.",
        ),
    ],
)
@pytest.mark.parametrize("named", [True, False])
def test_where_nothing_fits_a_need_what_there_is_is_told(model, asked, instead, named) -> None:
    setting(model, "A", "5", 75, 220)
    if named or "revision" not in asked:
        document = answer_settings("Lapwing One" if named else None, **{"needs": NEEDS, **asked})
        assert document["settings"] == []
        assert document["says"].endswith(f"; {instead}")
