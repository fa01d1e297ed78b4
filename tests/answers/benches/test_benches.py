"""The benches document: who reads off is seen, by its own name to itself alone; rounds are scored."""

import json

import pytest

from registry.answers.benches.answer import answer_benches
from registry.models import BenchSession
from tests import factories
from tests.benched import CLINICS, benched

pytestmark = pytest.mark.django_db


@pytest.fixture
def community():
    """Five clinics with units of two builds; hill reads 8 % high; one unit of each build went round."""
    return benched()


def test_a_bench_that_reads_high_is_off_and_the_others_are_not(community) -> None:
    document = answer_benches(factories.clinic("hill"))
    (own,) = [row for row in document["benches"] if row["own"] and row["quantity"] == "vacuum"]
    assert own["clinic"] == "hill"
    assert own["offset_percent"] == pytest.approx(8, abs=1.5)
    assert own["low_percent"] < own["offset_percent"] < own["high_percent"]
    assert (own["reads"], own["en_reads"]) == ("action", "action")
    others = [row for row in document["benches"] if not row["own"] and row["quantity"] == "vacuum"]
    assert len(others) == 4
    assert {row["reads"] for row in others} == {"acceptable"}
    assert document["says"].startswith("Your bench reads")
    assert "high in vacuum" in document["says"]
    assert "too far off, find the cause" in document["says"]
    assert "cycle rate" in document["says"]
    assert "2 units went round" in document["says"]
    json.dumps(document)


def test_the_community_is_told_how_many_are_off(community) -> None:
    says = answer_benches()["says"]
    assert says.startswith("Benches of 5 clinics compared, which differ by ")
    assert says.endswith("; 1 of them reads too far off; 2 units went round.")


def test_a_bench_beyond_what_it_declares_is_not_called_well() -> None:
    """Three per cent are no more than benches commonly differ by, yet beyond what its gauges declare."""
    benched(high=1.03, u_systematic=0.5)
    own = answer_benches(factories.clinic("hill"))
    (vacuum,) = [row for row in own["benches"] if row["own"] and row["quantity"] == "vacuum"]
    assert (vacuum["reads"], vacuum["en_reads"]) == ("acceptable", "action")
    assert ": worth a look, more than its gauges declare)" in own["says"]
    assert "none reads too far off, 1 reads further off than declared" in answer_benches()["says"]


def test_of_several_gauges_the_one_that_is_off_is_named(community) -> None:
    for k in range(3):
        unit = factories.unit(community, f"LK000{500 + k}", "A")
        factories.summary(unit, 220.0 + k, "hill", gauge=factories.gauge("hill", "G2"), u_systematic=2.0)
    document = answer_benches(factories.clinic("hill"))
    reads = {row["gauge"]: row["reads"] for row in document["gauges"] if row["quantity"] == "vacuum"}
    assert reads == {"G1": "action", "G2": "acceptable"}
    assert "; gauge G1 reads " in document["says"]
    assert "gauge G2" not in document["says"]


def test_the_rate_is_a_matter_of_its_own(community) -> None:
    rows = [row for row in answer_benches()["benches"] if row["quantity"] == "cycle_rate"]
    assert len(rows) == 5
    assert max(abs(row["offset_percent"]) for row in rows) < 2


def test_gauges_are_told_to_their_own_clinic_alone(community) -> None:
    document = answer_benches(factories.clinic("hill"))
    assert [(row["gauge"], row["quantity"], row["reads"]) for row in document["gauges"]] == [
        ("G1", "vacuum", "action"),
        ("G1", "cycle_rate", "acceptable"),
    ]
    assert answer_benches()["gauges"] == []


def test_nobody_else_is_named(community) -> None:
    told = json.dumps(answer_benches(factories.clinic("hill")))
    assert not [code for code in CLINICS if code != "hill" and f'"{code}"' in told]
    public = json.dumps(answer_benches())
    assert not [code for code in CLINICS if f'"{code}"' in public]


def test_codes_do_not_lead_from_one_round_to_another(community) -> None:
    document = answer_benches()
    codes = [{row["clinic"] for row in document["benches"]}]
    codes += [{one["clinic"] for one in of["settings"][0]["scores"]} for of in document["rounds"]]
    assert [len(of) for of in codes] == [5, 5, 5]
    assert not codes[0] & codes[1]
    assert not codes[1] & codes[2]


def test_a_round_is_scored(community) -> None:
    rounds = answer_benches(factories.clinic("hill"))["rounds"]
    assert [(one["serial"], one["clinics"]) for one in rounds] == [("LK001999", 5), ("LK000999", 5)]
    (setting,) = rounds[0]["settings"]
    assert setting["metric"] == "peak_vacuum"
    assert setting["assigned"] == pytest.approx(244, abs=5)
    first = setting["scores"][0]
    assert (first["clinic"], first["own"], first["reads"]) == ("hill", True, "action")
    assert first["en"] > 1
    assert {one["reads"] for one in setting["scores"][1:]} == {"acceptable"}
    assert setting["sigma"] == pytest.approx(0.02 * 241, rel=0.02)


def test_a_round_has_the_days_it_was_measured_on(community) -> None:
    sent = community.units.get(serial="LK000999")
    for code, day in (("north", "2026-02-03"), ("south", "2026-03-09")):
        run = factories.run(sent, code)
        BenchSession.objects.filter(pk=run.session_id).update(held_on=day)
    (dated,) = [one for one in answer_benches()["rounds"] if one["serial"] == "LK000999"]
    assert (dated["first_day"], dated["last_day"]) == ("2026-02-03", "2026-03-09")


def test_nothing_to_compare_is_said() -> None:
    factories.edition()
    document = answer_benches()
    assert (document["benches"], document["rounds"]) == ([], [])
    assert document["says"].startswith("No bench can be compared yet")
    assert document["says"].endswith("0 units went round.")


def test_two_clinics_are_thin(community) -> None:
    model = factories.pump_model("Lapwing Two")
    for code in ("far", "away"):
        factories.summary(factories.unit(model, f"LK{len(code):06}", "A"), 240.0, code, u_systematic=2.0)
    rows = [row for row in answer_benches()["benches"] if row["state"] == "thin"]
    assert len(rows) == 2
    assert {row["offset_percent"] for row in rows} == {None}
    assert {row["missing"] for row in rows} == {"1 more unit, 1 more clinic"}
    assert {row["missing"] for row in answer_benches()["benches"] if row["state"] == "ok"} == {""}


def test_the_number_of_queries_does_not_grow(community, django_assert_num_queries) -> None:
    with django_assert_num_queries(8):
        answer_benches()
