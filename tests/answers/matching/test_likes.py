"""What is most like an old setting: of which pumps and builds, how far off, and how sure that is."""

import pytest

from registry.answers.matching.settings import answer_settings
from registry.errors import Invalid
from tests import factories
from tests.answers.matching.measured import setting

pytestmark = pytest.mark.django_db


@pytest.fixture
def model():
    return factories.pump_model()


def test_an_old_setting_is_translated_with_the_distance_in_margins(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "A", "6", 70, 235)
    setting(model, "B", "5", 68, 224)
    setting(model, "B", "6", 73.5, 226)
    document = answer_settings("Lapwing One", like="A:expression:5", revision="B")
    best, second = document["settings"]
    assert (best["revision"], best["level"]) == ("B", "6")
    assert best["metrics"]["peak_vacuum"]["difference"] == pytest.approx(6)
    assert best["metrics"]["peak_vacuum"]["in_margins"] == pytest.approx(0.6)
    assert best["metrics"]["cycle_rate"]["in_margins"] == pytest.approx(-1.5 / 3.75)
    assert best["distance"] == pytest.approx(0.6)
    assert second["distance"] == pytest.approx(7 / 3.75, rel=1e-3)
    assert document["like"]["cycle_rate"] == pytest.approx(75)
    assert document["says"] == (
        "Lapwing One revision A at expression 5 (75 cycles/min, 220 mmHg): nearest is revision B at "
        "expression 6, within what matters (cycle rate -1.5 cycles/min, peak vacuum +6 mmHg)."
    )
    assert len(answer_settings("Lapwing One", like="A:expression:5")["settings"]) == 3
    closer = answer_settings("Lapwing One", like="A:expression:5", revision="B", vacuum_margin=5)
    assert closer["settings"][0]["distance"] == pytest.approx(1.2)


def test_none_within_margins_is_said_plainly(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "B", "5", 60, 224)
    document = answer_settings("Lapwing One", like="A:expression:5")
    assert "none within margins; nearest is revision B at expression 5, 4.0 margins away" in document["says"]
    assert "cycle rate lower by 15 cycles/min" in document["says"]


def test_a_likeness_tells_its_doubt(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "B", "5", 74, 221)
    setting(model, "B", "6", 55, 260)
    near, far = answer_settings("Lapwing One", like="A:expression:5")["settings"]
    assert (near["within"], far["within"]) == ("within", "not within")
    assert near["probability"] > 0.95
    assert far["probability"] < 0.05
    vacuum = near["metrics"]["peak_vacuum"]
    assert vacuum["difference_low"] < vacuum["difference"] < vacuum["difference_high"]
    assert vacuum["probability"] > 0.95
    # No surer than that by a comparison of the same settings.
    assert vacuum["difference_high"] - vacuum["difference_low"] < 20


def test_a_difference_lies_in_its_own_interval_where_units_are_shared(model) -> None:
    setting(model, "A", "4", 80, 200)
    setting(model, "A", "5", 75, 220, units=3)  # the three weakest of them
    (row,) = answer_settings("Lapwing One", like="A:expression:5")["settings"]
    vacuum = row["metrics"]["peak_vacuum"]
    assert vacuum["centre"] == pytest.approx(200)
    assert vacuum["difference"] == pytest.approx(-20, abs=0.5)
    assert vacuum["in_margins"] == pytest.approx(vacuum["difference"] / 10)
    assert row["distance"] == pytest.approx(max(abs(m["in_margins"]) for m in row["metrics"].values()))
    for metric in row["metrics"].values():
        assert metric["difference_low"] <= metric["difference"] <= metric["difference_high"]


def test_what_cannot_be_told_is_not_called_none_within_margins(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "B", "5", 71, 224)
    document = answer_settings("Lapwing One", like="A:expression:5")
    (row,) = document["settings"]
    assert row["distance"] > 1
    assert row["within"] == "cannot tell"
    assert 0.05 < row["probability"] < 0.95
    assert "none within" not in document["says"]
    assert "whether revision B at expression 5 is within what matters cannot be told yet" in document["says"]
    assert "Record more units of revision B at expression 5" in document["says"]


def test_too_few_units_leave_a_likeness_open_however_near(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "B", "5", 75, 220, units=1)
    document = answer_settings("Lapwing One", like="A:expression:5")
    (row,) = document["settings"]
    assert (row["state"], row["within"]) == ("thin", "cannot tell")
    assert "Record 2 more units, 1 more clinic of revision B" in document["says"]


def test_another_pump_and_a_programme(model) -> None:
    other = factories.pump_model("Lapwing Two")
    setting(model, "A", "5", 75, 220, programme="soft")
    setting(other, "A", "2", 76, 221)
    document = answer_settings("Lapwing Two", like="A:expression:soft:5", like_model="Lapwing One")
    assert [row["model"] for row in document["settings"]] == ["Lapwing Two"]
    assert "nearest is Lapwing Two revision A at expression 2" in document["says"]
    assert len(answer_settings(like="A:expression:soft:5", like_model="Lapwing One")["settings"]) == 1


def test_only_settings_measured_alike_are_held_against_it(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "A", "6", 75, 220, rig=factories.rig("bell"))
    setting(model, "B", "5", 75, 220, rig=factories.rig("cup", 27))
    setting(model, "B", "6", 75, 220, power="battery")
    document = answer_settings("Lapwing One", like="A:expression:5")
    assert document["settings"] == []
    # Each word among what fits those before it: of the flange there is a setting, on battery.
    assert "nothing else was measured alike" in document["says"]
    document = answer_settings("Lapwing One", like="A:expression:5", revision="B")
    assert document["says"].endswith("to hold against it; none has power mains; there is battery.")


def test_another_pump_is_held_against_with_parts_of_its_own(model) -> None:
    other = factories.pump_model("Lapwing Two")
    setting(model, "A", "5", 75, 220)
    setting(other, "A", "2", 76, 221, rig=factories.rig("bell"))
    setting(other, "A", "3", 76, 221, rig=factories.rig("bell", 27))
    document = answer_settings("Lapwing Two", like="A:expression:5", like_model="Lapwing One")
    (row,) = document["settings"]
    assert (row["level"], row["within"]) == ("2", "within")
    assert row["other_parts"] == {"protector": "bell in place of cup"}
    assert (
        "nearest is Lapwing Two revision A at expression 2 (bell in place of cup), within" in document["says"]
    )
    assert document["cautions"][0] == (
        "Part of what differs may come from parts of the pump: Lapwing Two revision A measured with another "
        "protector (bell in place of cup)."
    )
    assert answer_settings(like="A:expression:5", like_model="Lapwing One")["settings"] == [row]
    one_rig = answer_settings("Lapwing Two", like="A:expression:5", like_model="Lapwing One", rig="cup")
    assert one_rig["settings"] == []
    assert one_rig["says"].endswith("none has rig 'cup'; there is bell / duckbill / soft / 24 mm / 0 mL.")


def test_a_build_is_told_with_the_parts_it_was_mostly_measured_with(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "B", "5", 73.6, 224, units=1)
    setting(model, "B", "6", 74, 222, rig=factories.rig("bell"), start=60_001)
    document = answer_settings("Lapwing One", like="A:expression:5", revision="B")
    assert [(row["level"], row["other_parts"]) for row in document["settings"]] == [
        ("5", {}),
        ("6", {"protector": "bell in place of cup"}),
    ]
    assert "nearest is revision B at expression 6 (bell in place of cup), within" in document["says"]


def test_an_old_setting_nobody_measured_is_refused_with_what_there_is(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "A", "10", 70, 220)
    for asked, instead in (
        ({"like": "A:expression:77"}, "none has level 77; there are 5, 10"),
        ({"like": "A:expression:5", "rig": "domed"}, "none has rig 'domed'; there is cup"),
        ({"like": "A:expression:5", "power": "battery"}, "none has power battery; there is mains"),
    ):
        with pytest.raises(Invalid) as refused:
            answer_settings("Lapwing One", **asked)
        assert instead in refused.value.detail


def test_an_old_setting_is_that_on_the_power_asked_for(model) -> None:
    setting(model, "A", "5", 75, 220)
    setting(model, "A", "5", 70, 205, units=4, power="battery")
    setting(model, "B", "5", 70, 206, power="battery")
    (row,) = answer_settings("Lapwing One", like="A:expression:5", power="battery")["settings"]
    assert (row["revision"], row["power"], row["within"]) == ("B", "battery", "within")
