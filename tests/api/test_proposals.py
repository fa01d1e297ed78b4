"""Corrections over HTTP: who may, what is shown before and after, and the history they leave."""

from copy import deepcopy
from typing import Any

import pytest

from registry.intake.receive import receive
from registry.models import Operator, PumpModel
from tests.api.conftest import signed_in
from tests.declared import CATALOGUE, MODEL, provenance
from tests.intake.test_proposals import MOVED
from tests.traces import trace_bytes

pytestmark = pytest.mark.django_db
FORM: dict[str, Any] = {"pump_model": MODEL, **MOVED}


@pytest.fixture
def second(db):
    return signed_in("brackwater", "bracken", curator=True)


@pytest.fixture
def proposed(operator, curator) -> int:
    answer = curator.post("/api/v1/proposals", FORM, format="json")
    assert answer.status_code == 201, answer.json()
    assert not answer.json()["is_outdated"]
    return int(answer.json()["id"])


def moved_file(why: str = "letter 2") -> dict[str, Any]:
    declared = deepcopy(CATALOGUE)
    entry = declared["pump_model"][0]
    entry["revision"][0]["span"][0]["last"] = "LK003999"
    entry["revision"][1]["span"][0]["first"] = "LK004000"
    return {**declared, "why": why}


def test_a_proposal_is_confirmed_by_another_and_answers_follow(operator, curator, second, proposed):
    asked = {"model": MODEL, "first": "LK004500"}
    assert operator.get("/api/v1/serials", asked).json()["spans"][0]["revision"] == "A"
    refused = curator.post(f"/api/v1/proposals/{proposed}/confirm")
    assert (refused.status_code, refused.json()["code"]) == (403, "not_permitted")
    assert "another curator" in refused.json()["hint"]
    done = second.post(f"/api/v1/proposals/{proposed}/confirm").json()
    assert (done["state"], done["proposed_by"], done["decided_by"]) == (
        "confirmed",
        "elmsworth/sorrel",
        "brackwater/bracken",
    )
    assert operator.get("/api/v1/serials", asked).json()["spans"][0]["revision"] == "B"


def test_a_curator_sees_what_it_would_change_now(operator, stranger, second, proposed):
    receive(trace_bytes(), provenance(serial="LK004500"), Operator.objects.get(pseudonym="thyme"))
    seen = second.get(f"/api/v1/proposals/{proposed}").json()
    moved = {"was": "A", "now": "B", "units": 1, "first": "LK004500", "last": "LK004500"}
    assert seen["foreseen"]["units"] == [moved]
    assert not seen["is_outdated"]
    assert stranger.get(f"/api/v1/proposals/{proposed}").json()["foreseen"]["units"] == []


def test_a_stale_proposal_says_so(curator, second, proposed):
    again = curator.post("/api/v1/proposals", FORM, format="json").json()["id"]
    second.post(f"/api/v1/proposals/{again}/confirm")
    seen = second.get(f"/api/v1/proposals/{proposed}").json()
    assert seen["is_outdated"]
    assert "No declared span LK000001 to LK004999" in seen["stale"]
    refused = second.post(f"/api/v1/proposals/{proposed}/confirm")
    assert (refused.status_code, refused.json()["code"]) == (409, "proposal_stale")


def test_rejecting_needs_a_reason(curator, proposed):
    assert curator.post(f"/api/v1/proposals/{proposed}/reject", {}, format="json").status_code == 422
    done = curator.post(f"/api/v1/proposals/{proposed}/reject", {"reason": "typed wrong"}, format="json")
    assert (done.json()["state"], done.json()["decided_why"]) == ("rejected", "typed wrong")
    again = curator.post(f"/api/v1/proposals/{proposed}/reject", {"reason": "no"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "conflict")


def test_only_curators_propose_and_decide(operator, stranger, proposed):
    assert operator.post("/api/v1/proposals", FORM, format="json").status_code == 403
    assert operator.post(f"/api/v1/proposals/{proposed}/confirm").status_code == 403
    assert stranger.post("/api/v1/proposals", FORM, format="json").status_code == 401
    (row,) = stranger.get("/api/v1/proposals", {"model": MODEL, "state": "open"}).json()["results"]
    assert row["id"] == proposed


def test_a_file_s_differences_become_a_proposal(curator, second, operator):
    made = curator.post("/api/v1/proposals/from-catalogue", moved_file(), format="json")
    assert made.status_code == 201, made.json()
    (proposal,) = made.json()["results"]
    assert [span["last"] for span in proposal["change"]["dropped_spans"]] == ["LK004999", "LK007999"]
    assert [span["first"] for span in proposal["change"]["spans"]] == ["LK000001", "LK004000"]
    second.post(f"/api/v1/proposals/{proposal['id']}/confirm")
    again = curator.post("/api/v1/proposals/from-catalogue", moved_file(), format="json")
    assert (again.status_code, again.json()["code"]) == (409, "conflict")
    loaded = curator.post(
        "/api/v1/catalogue", {"pump_model": moved_file()["pump_model"]}, format="json"
    ).json()
    assert loaded["created"] == loaded["changed"] == loaded["removed"] == 0


def test_a_new_model_is_loaded_not_proposed(curator, operator):
    file = moved_file()
    file["pump_model"][0]["name"] = "Larkspur Three"
    answer = curator.post("/api/v1/proposals/from-catalogue", file, format="json")
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "pump_model[0].name"


def test_the_history_tells_who_did_what_and_why(curator, second, stranger, operator, proposed):
    second.post(f"/api/v1/proposals/{proposed}/confirm")
    model = PumpModel.objects.get()
    history = stranger.get(f"/api/v1/pump-models/{model.pk}/history").json()
    assert history["model"] == MODEL
    says = [row["says"] for row in history["results"]]
    why = "proposed by elmsworth/sorrel: the maker corrected its letter."
    assert (
        "span LK004000 to LK007999 created (declared as revision B, letter 2) by brackwater/bracken, " + why
    ) in says
    removed = next(row for row in history["results"] if row["action"] == "removed")
    assert (removed["after"], removed["before"]["source"], removed["proposal"]) == (None, "letter", proposed)


def test_the_history_tells_what_changed_from_what_to_what(curator, operator, stranger):
    declared = deepcopy(CATALOGUE)
    declared["pump_model"][0]["revision"][0]["marks"] = {"housing": "red"}
    curator.post("/api/v1/catalogue", declared, format="json")
    model = PumpModel.objects.get()
    pages = f"/api/v1/pump-models/{model.pk}/history"
    (row,) = (r for r in stranger.get(pages).json()["results"] if r["action"] == "changed")
    assert row["says"] == ("revision A changed: marks from housing amber to housing red by elmsworth/sorrel.")
    declared["pump_model"][0]["claim"] = [
        {"metric": "peak_vacuum", "relation": "at least", "value": 250, "unit": "mmHg", "source": "letter"}
    ]
    curator.post("/api/v1/catalogue", declared, format="json")
    declared["pump_model"][0]["claim"][0] |= {"value": 240}
    later = signed_in("brackwater", "bracken", curator=True)
    later.post("/api/v1/catalogue", declared, format="json")
    claimed = [row["says"] for row in stranger.get(pages).json()["results"] if row["kind"] == "claim"]
    assert claimed[0] == "claim peak vacuum at least changed: value from 250 to 240 by brackwater/bracken."
    assert "claim peak vacuum at least created (250 mmHg, letter) by elmsworth/sorrel." in claimed
    (claim,) = stranger.get("/api/v1/claims", {"model": MODEL, "revision": "A"}).json()["claims"]
    assert claim["entered_by"] == "brackwater"
    first = stranger.get(pages, {"page_size": 1}).json()
    assert len(first["results"]) == 1
    rest = stranger.get(first["next"]).json()["results"]
    assert rest[0] != first["results"][0]
    assert stranger.get("/api/v1/pump-models/999999/history").status_code == 404


def test_a_scheme_may_tell_date_plant_and_era(curator):
    declared = deepcopy(CATALOGUE)
    entry = declared["pump_model"][0]
    entry["serial_scheme"] = [
        {
            "pattern": r"(?P<plant>[A-Z]{2})(?P<yw>\d{4})(?P<number>\d{2})",
            "order": ["yw", "number"],
            "date": {"group": "yw", "form": "YYWW", "base": 2000},
            "plant": "plant",
            "era": 1,
        }
    ]
    assert curator.post("/api/v1/catalogue", declared, format="json").status_code == 200
    (model,) = curator.get("/api/v1/pump-models", {"name": MODEL}).json()["results"]
    assert model["serial_schemes"][0]["date"] == {"group": ["yw"], "form": "YYWW", "base": 2000}
    entry["serial_scheme"][0]["date"]["form"] = "YYXX"
    refused = curator.post("/api/v1/catalogue", declared, format="json")
    assert refused.json()["errors"][0]["field"] == "pump_model[0].serial_scheme[0]"
