"""Comparisons, part swaps, settings and claims over HTTP."""

from copy import deepcopy

import pytest

from registry.answers.cautions import MADE_AGAIN
from registry.models import Claim
from tests import factories
from tests.declared import CATALOGUE, MODEL

pytestmark = pytest.mark.django_db
API = "/api/v1"
CLINICS = ("north", "south", "east")


@pytest.fixture
def model():
    made = factories.pump_model()
    for label, start, shift in (("A", 1, 0.0), ("B", 50_001, -15.0)):
        for k in range(9):
            unit = factories.unit(made, f"LK{start + k:06}", label)
            for protector, part in (("cup", 0.0), ("dome", -6.0)):
                value = 240 + shift + part + (k % 5)
                own = {
                    "rig": factories.rig(protector),
                    "count": 3 if (label == "A") == (protector == "cup") else 1,
                }
                factories.summary(unit, value, CLINICS[k % 3], **own)
    return made


def test_every_question_is_answered_without_an_account(model, stranger) -> None:
    compared = stranger.get(f"{API}/comparisons", {"model": "Lapwing One", "old": "A", "new": "B"}).json()
    assert compared["verdict"] == "different"
    asked = {"model": "Lapwing One", "old": "A", "new": "B", "part": "protector", "old_part": "cup"}
    (row,) = stranger.get(f"{API}/part-swaps", asked).json()["settings"]
    assert row["part"]["value"] == pytest.approx(-6, abs=0.5)
    matched = stranger.get(f"{API}/settings-matches", {"model": "Lapwing One", "vacuum": "230.."}).json()
    assert matched["settings"][0]["probability"] > 0.9
    assert stranger.get(f"{API}/claims", {"model": "Lapwing One"}).json()["claims"] == []


@pytest.mark.parametrize(
    ("path", "asked", "field"),
    [
        ("comparisons", {"old": "A", "new": "Z"}, "new"),
        ("comparisons", {"old": "A"}, "new"),
        ("comparisons", {"old": "A", "new": "B", "rate_margin": "-1"}, "rate_margin"),
        ("comparisons", {"old": "A", "new": "B", "rate_margin": "nan"}, "rate_margin"),
        ("part-swaps", {"old": "A", "new": "B", "part": "motor"}, "part"),
        ("settings-matches", {"rate": "fast"}, "rate"),
        ("settings-matches", {"like": "A:expression"}, "like"),
        ("claims", {"revision": "Z"}, "revision"),
    ],
)
def test_refusals_name_the_field(model, stranger, path, asked, field) -> None:
    answer = stranger.get(f"{API}/{path}", {"model": "Lapwing One", **asked})
    assert answer.status_code == 422
    assert [fault["field"] for fault in answer.json()["errors"]] == [field]


def test_a_claim_of_sameness_names_no_value_and_others_do(curator) -> None:
    declared = deepcopy(CATALOGUE)
    same = {"metric": "cycle_rate", "relation": "same as before", "source": "supplier"}
    declared["pump_model"][0]["claim"].append(same)
    assert curator.post(f"{API}/catalogue", declared, format="json").status_code == 200
    stored = Claim.objects.get(source="supplier")
    assert (stored.value, stored.unit) == (0, "cycles/min")
    again = curator.post(f"{API}/catalogue", declared, format="json").json()
    assert {change["action"] for change in again["changes"]} == {"unchanged"}
    declared["pump_model"][0]["claim"][-1] = {**same, "relation": "at least"}
    refused = curator.post(f"{API}/catalogue", declared, format="json")
    assert refused.status_code == 422
    fields = [fault["field"].rpartition(".")[2] for fault in refused.json()["errors"]]
    assert sorted(fields) == ["unit", "value"]
    told = curator.get(f"{API}/claims", {"model": MODEL}).json()["claims"]
    assert [row["verdict"] for row in told] == ["not measured"] * 3
    assert {row["entered_by"] for row in told} == {"elmsworth"}


@pytest.mark.parametrize(
    ("path", "asked"),
    [
        ("comparisons", {"old": "A", "new": "B"}),
        ("part-swaps", {"old": "A", "new": "B", "part": "protector"}),
        ("settings-matches", {"rate": "50.."}),
        ("claims", {}),
    ],
)
def test_an_answer_of_a_past_time_says_so(model, stranger, path, asked) -> None:
    asked = {"model": "Lapwing One", **asked}
    then = stranger.get(f"{API}/{path}", {**asked, "as_of": "2020-01-01T00:00:00Z"}).json()
    assert then["as_of"] == "2020-01-01T00:00:00+00:00"
    assert then["says"].endswith(" (as of 2020-01-01 00:00 UTC).")
    assert MADE_AGAIN in then["cautions"]
    now = stranger.get(f"{API}/{path}", asked).json()
    assert "as of" not in now["says"]
    assert MADE_AGAIN not in now["cautions"]
