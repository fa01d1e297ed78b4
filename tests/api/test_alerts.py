"""Alerts over HTTP: listing by state and rule, and what a curator says to one."""

import pytest

from registry.models import AlertState
from tests import factories
from tests.api.stored import alert

pytestmark = pytest.mark.django_db
REASON, NOTE = "measured_wrongly", "the gauge had been in the cold"


def ids(client, **query):
    return [row["id"] for row in client.get("/api/v1/alerts", query).json()["results"]]


def test_alerts_are_listed_newest_first_by_rule_and_state(stranger):
    raised, seen = alert("a/G1"), alert("b/G1", state=AlertState.SEEN)
    settled, other = alert("c/G1", state=AlertState.SETTLED), alert("d/G1", rule="unit_drifts")
    assert ids(stranger) == [other.pk, settled.pk, seen.pk, raised.pk]
    assert ids(stranger, state="open") == [other.pk, seen.pk, raised.pk]
    assert ids(stranger, state="settled") == [settled.pk]
    assert ids(stranger, state="open", rule="gauge_reads_off") == [seen.pk, raised.pk]


def test_an_alert_names_its_subject_and_carries_cautions(stranger):
    alert("elmsworth/G1")
    (row,) = stranger.get("/api/v1/alerts").json()["results"]
    assert row["subject"] == {"gauge": "elmsworth/G1"}
    assert row["closed"] is None
    assert row["cautions"]


def test_a_state_nobody_knows_is_refused(stranger):
    problem = stranger.get("/api/v1/alerts", {"state": "opened"}).json()
    assert (problem["code"], problem["errors"][0]["field"]) == ("invalid", "state")


def test_alerts_are_paged(stranger):
    for number in range(3):
        alert(f"elmsworth/G{number}")
    first = stranger.get("/api/v1/alerts", {"state": "open", "page_size": 2}).json()
    rest = stranger.get(first["next"]).json()
    assert [len(first["results"]), len(rest["results"]), rest["next"]] == [2, 1, None]


def test_a_curator_sees_and_dismisses(curator, stranger):
    found = alert()
    assert curator.post(f"/api/v1/alerts/{found.pk}/seen").json()["state"] == "seen"
    gone = curator.post(
        f"/api/v1/alerts/{found.pk}/dismiss", {"reason": REASON, "note": NOTE}, format="json"
    ).json()
    assert (gone["state"], gone["closed"]["reason"], gone["closed"]["note"]) == ("dismissed", REASON, NOTE)
    (seen_by_all,) = stranger.get("/api/v1/alerts").json()["results"]
    assert (seen_by_all["closed"]["reason"], seen_by_all["closed"]["note"]) == (REASON, None)
    assert NOTE not in str(seen_by_all)
    assert curator.get("/api/v1/alerts").json()["results"][0]["closed"]["note"] == NOTE


@pytest.mark.parametrize("what", ["seen", "dismiss"])
def test_only_curators_answer_alerts(operator, stranger, what):
    address = f"/api/v1/alerts/{alert().pk}/{what}"
    assert operator.post(address, {"reason": REASON}, format="json").status_code == 403
    assert stranger.post(address, {"reason": REASON}, format="json").status_code == 401


def test_a_closed_alert_stays_closed(curator):
    found = alert(state=AlertState.SETTLED)
    for what in ("seen", "dismiss"):
        answer = curator.post(f"/api/v1/alerts/{found.pk}/{what}", {"reason": REASON}, format="json")
        assert (answer.status_code, answer.json()["code"]) == (409, "conflict")
    nowhere = curator.post(f"/api/v1/alerts/{found.pk + 1}/seen")
    assert (nowhere.status_code, nowhere.json()["code"]) == (404, "not_found")


@pytest.mark.parametrize(
    "body",
    [
        {},
        {"reason": " "},
        {"reason": "it was cold"},
        {"reason": "other"},
        {"reason": REASON, "note": "x" * 301},
        {"reason": REASON, "by": "y"},
        ["x"],
    ],
)
def test_dismissing_needs_a_reason_and_takes_nothing_else(curator, body):
    found = alert()
    answer = curator.post(f"/api/v1/alerts/{found.pk}/dismiss", body, format="json")
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
    found.refresh_from_db()
    assert found.state == AlertState.RAISED


def test_alerts_are_narrowed_down_by_what_they_are_about(stranger):
    model, clinic = factories.pump_model(), factories.clinic("elmsworth")
    about_model = alert("Lapwing One/B", pump_model=model, severity="urgent")
    about_clinic = alert("elmsworth/G1", clinic=clinic)
    assert ids(stranger, model=model.name) == [about_model.pk]
    assert ids(stranger, clinic="elmsworth") == [about_clinic.pk]
    assert ids(stranger, severity="urgent") == [about_model.pk]
    assert ids(stranger, severity="caution") == [about_clinic.pk, about_model.pk], "the least, as everywhere"
    assert ids(stranger, rule="unit_off") == []
    assert stranger.get("/api/v1/alerts", {"model": "no such"}).json()["code"] == "unknown_pump_model"


@pytest.mark.parametrize("asked", [{"rule": "gauge_of"}, {"clinic": "nowhere"}, {"severity": "grave"}])
def test_a_word_nobody_knows_is_refused_and_never_answered_with_no_alerts(stranger, asked):
    answer = stranger.get("/api/v1/alerts", asked)
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
    assert answer.json()["errors"][0]["field"] == next(iter(asked))


def test_alerts_of_a_rule_that_is_no_more_can_still_be_listed(stranger):
    odd = alert("a/G1", rule="gauge_odd")
    assert ids(stranger, rule="gauge_odd") == [odd.pk]


def test_suspicions_and_shadow_alerts_are_for_curators(stranger, curator):
    suspected = alert("a/G1", state=AlertState.SUSPECTED)
    shadow = alert("b/G1", shadow=True)
    assert ids(stranger) == ids(curator) == []
    assert stranger.get("/api/v1/alerts", {"shadow": "true"}).json()["errors"][0]["field"] == "shadow"
    assert stranger.get("/api/v1/alerts", {"state": "suspected"}).status_code == 422
    assert ids(curator, state="suspected") == [suspected.pk]
    assert ids(curator, shadow="true") == [shadow.pk]


def test_rules_tell_limits_and_the_share_of_dismissed_alerts(stranger):
    alert("a/G1", rule="gauge_off", rule_version=4, state=AlertState.SETTLED)
    alert("b/G1", rule="gauge_off", rule_version=4, state=AlertState.DISMISSED, reason="rig_fault")
    alert("c/G1", rule="gauge_off", rule_version=4)
    alert("d/G1", rule="gauge_off", rule_version=4, shadow=True)
    document = stranger.get("/api/v1/alert-rules").json()
    (row,) = [row for row in document["results"] if (row["rule"], row["version"]) == ("gauge_off", 4)]
    assert (row["raised"], row["open"], row["settled"], row["dismissed"]) == (3, 1, 1, 1)
    assert (row["dismissed_share"], row["dismissed_by_reason"]) == (0.5, {"rig_fault": 1})
    assert (row["stage"], row["in_shadow"], row["limits"]["off"]) == ("live", 1, 0.04)
    assert "gauge_recalibrated" in document["reasons"]


def test_a_unit_is_explained_and_what_was_not_looked_at_is_not_fine(stranger):
    model = factories.pump_model()
    factories.summary(factories.unit(model, "LK000123", "A"), 200.0)
    document = stranger.get("/api/v1/explanations", {"model": model.name, "serial": "LK000123"}).json()
    assert document["unit"] == {"pump_model": model.name, "serial": "LK000123"}
    assert {row["outcome"] for row in document["rules"]} == {"not looked at"}
    assert all(row["lacks"] for row in document["rules"])
    for wrong, code in (({}, "invalid"), ({"run": 1, "gauge": "a/b"}, "invalid"), ({"run": 77}, "not_found")):
        assert stranger.get("/api/v1/explanations", wrong).json()["code"] == code
