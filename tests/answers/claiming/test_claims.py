"""The claims document: verdicts with guard band and risk, and `same as before` by comparison."""

import json

import pytest
from django.utils import timezone

from registry.answers.claiming.claims import answer_claims
from registry.errors import Invalid
from registry.models import Claim
from tests import factories

pytestmark = pytest.mark.django_db

CLINICS = ("north", "south", "east")


@pytest.fixture
def model():
    return factories.pump_model()


def bench(model, label, value, *, units=9, spread=1.5, level="3", **changes):
    for k in range(units):
        unit = factories.unit(model, f"LK{(50_001 if label == 'B' else 1) + k:06}", label)
        factories.summary(unit, value + spread * ((k % 5) - 2), CLINICS[k % 3], level=level, **changes)


def claim(model, relation="at least", value=220.0, **changes):
    fields = {
        "metric": "peak_vacuum",
        "unit": "mmHg",
        "mode": "expression",
        "level": "3",
        "source": "leaflet, 2025",
        "said_by": factories.operator("harbour", "wren"),
        **changes,
    }
    return Claim.objects.create(pump_model=model, relation=relation, value=value, **fields)


def test_a_claim_is_judged_for_each_revision_with_its_risk(model) -> None:
    bench(model, "A", 232)
    bench(model, "B", 208)
    claim(model)
    document = answer_claims("Lapwing One")
    old, new = document["claims"]
    assert (old["revision"], old["verdict"]) == ("A", "upheld")
    assert (new["revision"], new["verdict"]) == ("B", "not upheld")
    assert old["risk"] < 0.01
    assert new["risk"] < 0.01
    assert old["probability"] > 0.95
    assert new["probability"] < 0.05
    assert old["low"] < old["centre"] < old["high"]
    assert old["accept_low"] == pytest.approx(220 + old["guard_band"])
    assert old["accept_high"] is None
    assert old["setting"]["rig"] == "cup / duckbill / soft / 24 mm / 0 mL"
    assert (old["entered_by"], old["source"], old["units"], old["clinics"]) == (
        "harbour",
        "leaflet, 2025",
        9,
        3,
    )
    assert old["entered_at"] is not None
    assert document["says"].startswith(
        "Lapwing One, peak vacuum at least 220 mmHg at expression 3: revision A upheld, "
        "revision B not upheld. Revision B, "
    )
    assert "less than 1 in 100 units conform" in document["says"]
    json.dumps(document)
    (alone,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert answer_claims("Lapwing One", revision="A")["says"] == f"Lapwing One: {alone['says']}"


@pytest.mark.parametrize("units", [3, 9])
def test_a_risk_is_what_the_interval_beside_it_leaves_out(model, units) -> None:
    bench(model, "A", 232, units=units)
    claim(model)
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    claim(model, value=row["low"], source="at the lower end")
    claim(model, value=row["high"], source="at the upper end")
    _, lower, upper = answer_claims("Lapwing One", revision="A")["claims"]
    assert (lower["verdict"], lower["risk"]) == ("upheld", pytest.approx(0.025, rel=1e-3))
    assert (upper["verdict"], upper["risk"]) == ("not upheld", pytest.approx(0.025, rel=1e-3))


def test_near_the_limit_nothing_is_decided_and_many_units_fail_a_claim_a_typical_one_meets(model) -> None:
    bench(model, "A", 220.3)
    bench(model, "B", 224, units=45, spread=5)
    claim(model)
    near, wide = answer_claims("Lapwing One")["claims"]
    assert (near["verdict"], near["risk"]) == ("undecided", None)
    assert 0.3 < near["probability_typical"] < 0.8
    assert wide["verdict"] == "upheld"
    assert 0.6 < wide["probability"] < 0.85


@pytest.mark.parametrize(
    ("relation", "value", "verdict"),
    [
        ("at most", 240.0, "upheld"),
        ("at most", 220.0, "not upheld"),
        ("equal to", 231.0, "upheld"),
        ("equal to", 200.0, "not upheld"),
        ("equal to", 242.0, "undecided"),
    ],
)
def test_every_relation_has_its_tolerance(model, relation, value, verdict) -> None:
    bench(model, "A", 232)
    claim(model, relation, value)
    (row,) = answer_claims("Lapwing One", revision="a")["claims"]
    assert row["verdict"] == verdict


def test_a_claim_in_another_unit_of_pressure_is_converted(model) -> None:
    bench(model, "A", 232)
    claim(model, value=29.0, unit="kPa")
    claim(model, value=29.0, unit="furlong", source="elsewhere")
    converted, strange = answer_claims("Lapwing One", revision="A")["claims"]
    assert converted["accept_low"] - converted["guard_band"] == pytest.approx(29e3 / 133.322387415, rel=1e-4)
    assert converted["verdict"] == "upheld"
    assert (strange["verdict"], strange["risk"]) == ("undecided", None)
    assert "needs the claim in mmHg, as it is measured; it is made in furlong" in strange["says"]


def test_equal_to_needs_to_know_how_much_matters(model) -> None:
    bench(
        model,
        "A",
        0.5,
        spread=0.002,
        metric="duty_factor",
        metric_unit="1",
        sum_squares=1e-6,
        u_systematic=1e-4,
    )
    claim(model, "equal to", 0.5, metric="duty_factor", unit="1")
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert (row["verdict"], row["probability"], row["accept_low"]) == ("undecided", None, None)
    assert row["centre"] == pytest.approx(0.5, abs=0.01)
    assert row["missing"] == (
        "how much of a difference in duty factor matters; enter the claim as at least and at most"
    )
    assert row["missing"] in row["says"]


@pytest.mark.parametrize(("units", "missing"), [(2, "1 more unit"), (1, None), (3, ""), (9, "")])
def test_no_verdict_on_too_few_units_however_clear(model, units, missing) -> None:
    bench(model, "A", 300, units=units, spread=0.1)
    claim(model)
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    if missing is None:
        assert row["verdict"] == "not measured"
        return
    assert row["missing"] == missing
    assert (row["verdict"], row["risk"] is None) == (("undecided", True) if missing else ("upheld", False))
    if missing:
        assert f"undecided, needs {missing}; the typical unit has 300 mmHg" in row["says"]


def test_one_clinic_alone_decides_nothing(model) -> None:
    for k in range(6):
        factories.summary(factories.unit(model, f"LK{k:06}", "A"), 300 + k, "north")
    claim(model)
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert (row["verdict"], row["missing"]) == ("undecided", "1 more clinic")


def test_same_as_before_takes_enough_units_of_both(model) -> None:
    bench(model, "A", 232)
    for k in range(6):
        factories.summary(factories.unit(model, f"LK{50_001 + k:06}", "B"), 150 + k, "north")
    claim(model, "same as before", 0.0, level="")
    (row,) = answer_claims("Lapwing One")["claims"]
    assert (row["verdict"], row["missing"], row["risk"]) == ("undecided", "1 more clinic", None)
    assert row["says"].endswith("No verdict on so little: needs 1 more clinic.")


def test_a_claim_that_leaves_the_level_open_is_judged_where_the_value_is_highest(model) -> None:
    for level, value in (("1", 120), ("5", 232), ("3", 180)):
        bench(model, "A", value, level=level)
    claim(model, level="")
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert (row["verdict"], row["setting"]["level"], row["level"]) == ("upheld", "5", "")
    Claim.objects.update(relation="equal to", value=181.0)
    assert answer_claims("Lapwing One", revision="A")["claims"][0]["setting"]["level"] == "3"


def test_same_as_before_is_judged_by_the_comparison(model) -> None:
    bench(model, "A", 232)
    bench(model, "B", 208)
    claim(model, "same as before", 0.0, level="")
    (row,) = answer_claims("Lapwing One")["claims"]
    assert (row["revision"], row["against"], row["verdict"], row["value"]) == ("B", "A", "not upheld", None)
    assert row["risk"] < 0.01
    assert row["says"].startswith(
        "Revision B, peak vacuum same as before at expression: not upheld; revision B against revision A: "
        "different"
    )


def test_sameness_of_the_first_build_is_told_to_have_nothing_before_it(model) -> None:
    bench(model, "A", 232)
    claim(model, "same as before", 0.0)
    document = answer_claims("Lapwing One", revision="A")
    (row,) = document["claims"]
    assert (row["verdict"], row["missing"], row["units"]) == ("not measured", "a revision before it", 9)
    assert document["says"] == (
        "Lapwing One: Revision A, peak vacuum same as before at expression 3: no revision came before it."
    )


def test_a_claim_about_a_level_of_any_mode_says_that_it_is_a_level(model) -> None:
    bench(model, "A", 232)
    claim(model, mode="")
    assert "at least 220 mmHg at level 3: upheld" in answer_claims("Lapwing One", revision="A")["says"]


def test_builds_that_are_alike_uphold_same_as_before(model) -> None:
    bench(model, "A", 232)
    bench(model, "B", 233)
    claim(model, "same as before", 0.0, level="")
    (row,) = answer_claims("Lapwing One")["claims"]
    assert row["verdict"] == "upheld"
    assert row["risk"] < 0.05


def test_what_was_not_measured_is_said_to_be(model) -> None:
    bench(model, "A", 232, units=1)
    claim(model)
    claim(model, "same as before", 0.0)
    document = answer_claims("Lapwing One")
    assert [row["verdict"] for row in document["claims"]] == ["not measured"] * 3
    assert "3 not measured" in document["says"]
    assert factories.pump_model("Lapwing Two")
    assert answer_claims("Lapwing Two")["says"] == "Lapwing Two: no claim is in the catalogue."


def test_an_unknown_revision_is_refused(model) -> None:
    with pytest.raises(Invalid):
        answer_claims("Lapwing One", revision="Z")


@pytest.mark.parametrize("claims", [1, 6])
def test_the_number_of_queries_does_not_grow_with_claims_of_values(
    model, claims, django_assert_num_queries
) -> None:
    bench(model, "A", 232)
    for number in range(claims):
        claim(model, source=f"leaflet {number}")
    with django_assert_num_queries(7):
        answer_claims("Lapwing One")


def test_no_risk_is_told_as_none_and_no_share_lies_below_nought(model) -> None:
    bench(model, "A", 260)
    claim(model)
    lost = {"metric": "loss_rate", "metric_unit": "per 100 cycles", "sum_squares": 0.0, "u_random": 1.0}
    bench(model, "A", 0, spread=0, **lost)
    claim(model, "at most", 1.0, metric="loss_rate", unit="per 100 cycles")
    claim(model, "at least", 0.0, metric="loss_rate", unit="per 100 cycles")
    rows = [row for row in answer_claims("Lapwing One")["claims"] if row["revision"] == "A"]
    assert "(risk of being wrong below 0.1 %)" in rows[0]["says"]
    assert (rows[1]["low"], rows[2]["probability"]) == (0.0, 1.0)


def test_of_places_with_as_many_units_that_of_most_clinics_is_judged(model) -> None:
    """One clinic's four units in the mountains must not stand for four of three clinics elsewhere."""
    for k in range(4):
        high = factories.unit(model, f"LK{100 + k:06}", "A")
        factories.summary(high, 250.0 + k, "north", elevation="500-1500 m")
        low = factories.unit(model, f"LK{200 + k:06}", "A")
        factories.summary(low, 230.0 + k, CLINICS[k % 3], elevation="below 500 m")
    claim(model)
    (row,) = answer_claims("Lapwing One", revision="A")["claims"]
    assert (row["setting"]["elevation"], row["units"], row["clinics"]) == ("below 500 m", 4, 3)


@pytest.mark.parametrize(
    ("relation", "value", "told"),
    [
        ("same as before", 0.0, "peak_vacuum same as before"),
        ("at least", 220.0, "peak_vacuum at least 220 mmHg"),
    ],
)
def test_a_claim_is_called_by_what_it_says(model, relation, value, told) -> None:
    assert str(claim(model, relation, value)) == told


@pytest.mark.django_db(transaction=True)
def test_at_a_past_time_claims_are_those_of_then(model) -> None:
    """A page printed before a claim was entered, or changed, can be made again."""
    bench(model, "A", 232)
    before = timezone.now()
    stood = claim(model, value=220.0)
    then = timezone.now()
    Claim.objects.filter(pk=stood.pk).update(value=250.0)
    claim(model, "at most", 300.0, source="letter")
    now = answer_claims("Lapwing One", revision="A")["claims"]
    assert [row["value"] for row in now] == [250.0, 300.0]
    (past,) = answer_claims("Lapwing One", revision="A", as_of=then)["claims"]
    assert past["value"] == 220.0
    assert answer_claims("Lapwing One", revision="A", as_of=before)["claims"] == []


@pytest.mark.django_db(transaction=True)
def test_at_a_past_time_claims_are_there_that_were_removed_since(model) -> None:
    stood = claim(model, value=220.0)
    stood.said_by = factories.operator("north", "reed")
    stood.save()
    then = timezone.now()
    printed = answer_claims("Lapwing One", revision="A")["claims"]
    stood.delete()
    removed = timezone.now()
    claim(model, "at most", 300.0, source="letter")
    assert [row["value"] for row in printed] == [220.0]
    assert answer_claims("Lapwing One", revision="A", as_of=then)["claims"] == printed
    assert printed[0]["entered_by"] == "north"
    assert answer_claims("Lapwing One", revision="A", as_of=removed)["claims"] == []
