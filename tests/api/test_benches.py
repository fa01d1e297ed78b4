"""Benches compared over HTTP: who asks sees the own bench and its gauges, and codes for all others."""

import json

import pytest

from tests.benched import benched

pytestmark = pytest.mark.django_db
URL = "/api/v1/benches"
CLINICS = ("north", "brackwater", "east", "west", "elmsworth")


@pytest.fixture(autouse=True)
def community():
    return benched(CLINICS)


def named(document) -> set[str]:
    told = json.dumps(document)
    return {code for code in CLINICS if f'"{code}"' in told}


def test_who_asks_sees_the_own_bench_by_name(operator, neighbour) -> None:
    own = operator.get(URL).json()
    assert named(own) == {"elmsworth"}
    assert own["says"].startswith("Your bench reads")
    assert {row["gauge"] for row in own["gauges"]} == {"G1"}
    assert [one["own"] for one in own["rounds"][0]["settings"][0]["scores"]].count(True) == 1
    assert named(neighbour.get(URL).json()) == {"brackwater"}


def test_no_cache_between_may_give_one_clinic_what_another_was_told(operator, stranger) -> None:
    for answer in (operator.get(URL), stranger.get(URL), stranger.get("/api/v1/runs")):
        assert "Authorization" in answer["Vary"]


def test_without_a_token_nobody_is_named(stranger) -> None:
    answer = stranger.get(URL)
    assert answer.status_code == 200
    document = answer.json()
    assert named(document) == set()
    assert document["gauges"] == []
    assert not any(row["own"] for row in document["benches"])
    assert document["says"].startswith("Benches of 5 clinics compared")


def test_an_installation_may_ask_readers_to_sign_in(stranger, operator, settings) -> None:
    settings.VACUARY_READS_OPEN = False
    refused = stranger.get(URL)
    assert (refused.status_code, refused.json()["code"]) == (401, "not_signed_in")
    assert operator.get(URL).status_code == 200


def test_a_past_time_can_be_asked(operator) -> None:
    document = operator.get(URL, {"as_of": "2020-01-01T00:00:00Z"}).json()
    assert (document["benches"], document["rounds"]) == ([], [])
    assert document["as_of"] == "2020-01-01T00:00:00+00:00"
    assert document["says"].endswith("(as of 2020-01-01 00:00 UTC).")
    assert any("past time" in caution for caution in document["cautions"])


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"as_of": "2999-01-01T00:00:00Z"}, "as_of"),
        ({"edition": "7"}, "edition"),
        ({"clinic": "north"}, "clinic"),
    ],
)
def test_what_cannot_be_asked_is_refused_by_field(operator, asked, field) -> None:
    refused = operator.get(URL, asked)
    assert (refused.status_code, refused.json()["code"]) == (422, "invalid")
    assert [fault["field"] for fault in refused.json()["errors"]] == [field]
