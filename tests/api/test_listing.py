"""A revision listed from its alert over HTTP: curators only, one step, as a proposal."""

import pytest

from registry.models import Alert
from tests.alerts.told import unlisted_alert
from tests.api.stored import alert

pytestmark = pytest.mark.django_db


@pytest.fixture
def told(db) -> Alert:
    return unlisted_alert()


def test_a_curator_lists_a_revision_in_one_step(curator, told) -> None:
    answer = curator.post(
        f"/api/v1/alerts/{told.pk}/list", {"label": "A2", "marks": {"housing": "blue"}}, format="json"
    )
    assert answer.status_code == 201
    document = answer.json()
    assert document["state"] == "open"
    assert {span["revision"] for span in document["change"]["spans"]} == {"A", "A2"}
    assert f"Proposal {document['proposal']}" in document["says"]
    again = curator.post(f"/api/v1/alerts/{told.pk}/list", {"label": "A3"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "conflict")


def test_only_curators_list_and_only_from_such_alerts(stranger, curator) -> None:
    other = alert("elmsworth/G1")
    path = f"/api/v1/alerts/{other.pk}/list"
    assert stranger.post(path, {"label": "B"}, format="json").status_code in (401, 403)
    assert curator.post(path, {"label": "B"}, format="json").json()["code"] == "conflict"
    unknown = curator.post(path, {"label": "B", "name": "x"}, format="json").json()
    assert (unknown["code"], unknown["errors"][0]["field"]) == ("invalid", "name")
    assert curator.post("/api/v1/alerts/99999/list", {"label": "B"}, format="json").status_code == 404
