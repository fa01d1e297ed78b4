"""Distributions over HTTP: whose influence bears a name, and answers of a past time or another edition."""

import pytest

from tests import factories

pytestmark = pytest.mark.django_db
URL = "/api/v1/distributions"
ASKED = {"model": "Lapwing One", "level": "3"}


@pytest.fixture(autouse=True)
def benches():
    """Three units at each of three clinics."""
    model = factories.pump_model()
    for c, code in enumerate(("elmsworth", "brackwater", "far")):
        for k in range(3):
            unit = factories.unit(model, f"LK{100 * c + k:06}", "A")
            factories.summary(unit, 240.0 + 2 * c + 3 * k, code)


def influence(client) -> list[dict]:
    (cell,) = client.get(URL, ASKED).json()["cells"]
    return cell["influence"]


def test_who_asks_sees_the_own_clinic_by_name(operator, neighbour, stranger) -> None:
    assert [one["clinic"] for one in influence(operator) if one["own"]] == ["elmsworth"]
    assert [one["clinic"] for one in influence(neighbour) if one["own"]] == ["brackwater"]
    told = str(influence(stranger))
    assert not any(code in told for code in ("elmsworth", "brackwater", "far"))


def test_a_past_time_can_be_asked(stranger) -> None:
    past = stranger.get(URL, {**ASKED, "as_of": "2020-01-01T00:00:00Z"})
    assert past.status_code == 200
    document = past.json()
    assert (document["cells"], document["as_of"]) == ([], "2020-01-01T00:00:00+00:00")
    assert "(as of 2020-01-01 00:00 UTC)" in document["says"]


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"as_of": "2999-01-01T00:00:00Z"}, "as_of"),
        ({"as_of": "yesterday"}, "as_of"),
        ({"edition": "7"}, "edition"),
        ({"edition": "0"}, "edition"),
    ],
)
def test_a_time_or_edition_that_cannot_be_is_refused_by_field(stranger, asked, field) -> None:
    refused = stranger.get(URL, {**ASKED, **asked})
    assert refused.status_code == 422
    assert [fault["field"] for fault in refused.json()["errors"]] == [field]


def test_the_stamp_of_an_answer_can_be_asked_for(stranger) -> None:
    stamped = stranger.get(URL, ASKED).json()["as_of"]
    assert stranger.get(URL, {**ASKED, "as_of": stamped}).json()["as_of"] == stamped
