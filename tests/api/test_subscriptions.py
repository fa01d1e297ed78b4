"""Subscriptions over HTTP: an operator's own, made of what is known, with secrets told once."""

import pytest

from registry.alerts.delivery.spreading import spread_one
from registry.models import Operator, Subscription
from tests.alerts.delivery.raising import raised
from tests.declared import MODEL

pytestmark = pytest.mark.django_db
HOOKS = "/api/v1/subscriptions"
URL = "https://receiver.example/vacuary"


def add(client, **said):
    return client.post(HOOKS, {"channel": "webhook", "to": URL, **said}, format="json")


@pytest.fixture
def own(operator):
    """A webhook of the operator."""
    return add(operator).json()


def test_a_secret_is_told_once_and_stored_nowhere(operator):
    made = add(operator, severity="caution", rule="gauge_off")
    assert made.status_code == 201
    document = made.json()
    assert document["secret"].startswith("whsec_")
    assert (document["state"], document["severity"], document["rule"]) == ("active", "caution", "gauge_off")
    again = operator.get(f"{HOOKS}/{document['id']}").json()
    assert "secret" not in again
    assert again == operator.get(HOOKS).json()["results"][0]
    stored = Subscription.objects.values().get()
    assert document["secret"] not in str(stored)
    assert document["secret"] != add(operator).json()["secret"]


def test_each_sees_their_own_only(operator, neighbour, own):
    assert neighbour.get(HOOKS).json()["results"] == []
    one = f"{HOOKS}/{own['id']}"
    assert neighbour.get(one).status_code == 404
    assert neighbour.patch(one, {"active": False}, format="json").status_code == 404
    assert neighbour.get(f"{one}/deliveries").status_code == 404
    assert neighbour.post(f"{one}/test").status_code == 404
    assert neighbour.post(f"{one}/replay", {"since": 1}, format="json").status_code == 404
    assert neighbour.delete(one).status_code == 204
    assert operator.get(one).status_code == 200


def test_a_new_secret_is_told_once_and_the_former_one_for_how_long(operator, neighbour, own):
    one = f"{HOOKS}/{own['id']}"
    assert own["former_secret_until"] is None
    assert neighbour.post(f"{one}/rotate").status_code == 404
    told = operator.post(f"{one}/rotate")
    document = told.json()
    assert (told.status_code, document["secret"] != own["secret"]) == (200, True)
    shown = operator.get(one).json()
    assert "secret" not in shown
    assert shown["former_secret_until"] == document["former_secret_until"] > own["created_at"]
    assert {**own, "secret": "", "former_secret_until": ""} == {
        **document,
        "secret": "",
        "former_secret_until": "",
    }
    stored = str(Subscription.objects.values().get())
    assert own["secret"] not in stored
    assert document["secret"] not in stored


def test_only_a_webhook_has_a_secret_to_replace(operator):
    feed = operator.post(HOOKS, {"channel": "feed"}, format="json").json()
    answer = operator.post(f"{HOOKS}/{feed['id']}/rotate")
    assert (answer.status_code, answer.json()["code"]) == (409, "conflict")


def test_they_need_a_token(stranger):
    assert stranger.get(HOOKS).status_code == 401
    assert add(stranger).status_code == 401


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"to": "http://receiver.example/"}, "to"),
        ({"to": "https://10.0.0.1/"}, "to"),
        ({"to": "https://localhost/"}, "to"),
        ({"channel": "pigeon"}, "channel"),
        ({"channel": "email", "to": "a@b.example"}, "channel"),
        ({"channel": "feed"}, "to"),
        ({"severity": "loud"}, "severity"),
        ({"rule": "gauge_of"}, "rule"),
        ({"clinic": "nowhere"}, "clinic"),
        ({"secret": "mine"}, "secret"),
    ],
)
def test_what_cannot_be_is_refused_and_the_field_named(operator, said, field):
    answer = add(operator, **said)
    assert (answer.status_code, answer.json()["code"]) == (422, "invalid")
    assert answer.json()["errors"][0]["field"] == field
    assert not Subscription.objects.exists()


def test_an_unknown_pump_model_is_refused_with_those_that_are_near(operator):
    answer = add(operator, model=MODEL[:-1])
    assert (answer.status_code, answer.json()["code"]) == (422, "unknown_pump_model")
    assert answer.json()["nearest"]


def test_one_is_narrowed_paused_and_taken_up(operator, own):
    one = f"{HOOKS}/{own['id']}"
    changed = operator.patch(
        one, {"clinic": "ELMSWORTH", "severity": "urgent", "active": False}, format="json"
    )
    assert changed.status_code == 200
    assert {key: changed.json()[key] for key in ("clinic", "severity", "state")} == {
        "clinic": "elmsworth",
        "severity": "urgent",
        "state": "paused",
    }
    wider = operator.patch(one, {"clinic": None, "active": True}, format="json").json()
    assert (wider["clinic"], wider["severity"], wider["state"]) == (None, "urgent", "active")
    assert operator.patch(one, {"to": URL}, format="json").status_code == 422


def test_ending_one_twice_is_ending_it_once(operator, own):
    one = f"{HOOKS}/{own['id']}"
    assert [operator.delete(one).status_code for _ in range(2)] == [204, 204]
    assert operator.get(one).status_code == 404


def test_a_test_waits_in_the_list_of_deliveries(operator, own):
    queued = operator.post(f"{HOOKS}/{own['id']}/test")
    assert queued.status_code == 202
    (listed,) = operator.get(f"{HOOKS}/{own['id']}/deliveries").json()["results"]
    assert listed == queued.json()
    assert (listed["event"], listed["state"], listed["sequence"]) == ("test", "waiting", 1)


def test_a_replay_goes_by_number_or_time(operator, own):
    for _ in range(3):
        operator.post(f"{HOOKS}/{own['id']}/test")
    address = f"{HOOKS}/{own['id']}/replay"
    again = operator.post(address, {"since": 2}, format="json")
    assert (again.status_code, again.json()) == (202, {"again": 2})
    assert operator.post(address, {"since": "2020-01-01T00:00:00Z"}, format="json").json() == {"again": 3}
    assert operator.post(address, {"since": "2999-01-01T00:00:00+01:00"}, format="json").json() == {
        "again": 0
    }


@pytest.mark.parametrize("since", [0, -1, 2**60, True, 1.5, None, "yesterday", [], {}])
def test_a_replay_from_nowhere_is_refused(operator, own, since):
    answer = operator.post(f"{HOOKS}/{own['id']}/replay", {"since": since}, format="json")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (422, "since")


def test_nothing_is_sent_to_a_feed_or_a_paused_one(operator, own):
    feed = operator.post(HOOKS, {"channel": "feed"}, format="json").json()
    operator.patch(f"{HOOKS}/{own['id']}", {"active": False}, format="json")
    for number in (feed["id"], own["id"]):
        for what, said in (("test", None), ("replay", {"since": 1})):
            answer = operator.post(f"{HOOKS}/{number}/{what}", said, format="json")
            assert (answer.status_code, answer.json()["code"]) == (409, "conflict")


def test_an_operator_has_twenty_at_most(operator):
    assert {add(operator).status_code for _ in range(20)} == {201}
    assert add(operator).status_code == 409


def test_lists_are_paged_and_queries_do_not_grow(operator, own, django_assert_max_num_queries):
    for _ in range(12):
        operator.post(f"{HOOKS}/{own['id']}/test")
        add(operator, clinic="elmsworth")
    with django_assert_max_num_queries(6):
        first = operator.get(HOOKS, {"page_size": 10}).json()
    assert [len(first["results"]), len(operator.get(first["next"]).json()["results"])] == [10, 3]
    with django_assert_max_num_queries(6):
        first = operator.get(f"{HOOKS}/{own['id']}/deliveries", {"page_size": 10}).json()
    assert [len(first["results"]), len(operator.get(first["next"]).json()["results"])] == [10, 2]


def test_who_has_left_is_told_nothing(operator, own):
    Operator.objects.filter(subscriptions=own["id"]).update(is_active=False)
    assert spread_one(raised().announcements.get().pk) == []
