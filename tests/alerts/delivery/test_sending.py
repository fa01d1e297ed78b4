"""One message, once, to who asked for it; whatever happens to workers in between."""

import json
import threading

import psycopg
import pytest
from django.db import connection, transaction

from registry.alerts.book import dismiss
from registry.alerts.delivery import announce, sending, webhooks
from registry.alerts.delivery.keys import webhook_secret
from registry.alerts.delivery.signatures import is_genuine
from registry.alerts.delivery.spreading import spread_one
from registry.alerts.delivery.subscribing import replay, subscribe
from registry.models import Announcement, Delivery, DeliveryState
from tests import factories
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised


def told(receiver) -> list[str]:
    documents = [json.loads(one.body) for one in receiver.got]
    return [f"{one['type']} {one['data']['alert']['subject']['gauge']}" for one in documents]


@pytest.mark.django_db
def test_a_message_is_signed_and_tells_the_alert_as_the_list_does(subscription, receiver, clock):
    with receiver.up():
        alert = raised()
        work()
    (got,) = receiver.got
    assert got.path == "/alerts?from=vacuary"
    assert is_genuine(webhook_secret(subscription), got.headers, got.body, clock.now.timestamp())
    document = json.loads(got.body)
    assert document["type"] == "alert.raised"
    assert document["data"]["sequence"] == 1
    assert document["data"]["alert"]["id"] == alert.pk
    assert document["data"]["alert"]["cautions"]


@pytest.mark.django_db
def test_ends_are_told_too_and_what_a_curator_wrote_is_not(subscription, receiver):
    with receiver.up():
        alert = raised()
        dismiss(alert.pk, "other", "nurse Wren left the window open")
        work()
    assert told(receiver) == ["alert.raised elmsworth/G1", "alert.dismissed elmsworth/G1"]
    assert b"Wren" not in receiver.got[1].body


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("wish", "expected"),
    [
        ({}, {"a/G1", "b/G1", "c/G1"}),
        ({"rule": "unit_off"}, {"b/G1"}),
        ({"severity": "caution"}, {"a/G1", "b/G1"}),
        ({"severity": "urgent"}, {"b/G1"}),
        ({"model": "lapwing one"}, {"c/G1"}),
        ({"clinic": "NORTH"}, {"a/G1"}),
        ({"clinic": "north", "severity": "urgent"}, set()),
    ],
)
def test_subscriptions_are_by_model_clinic_rule_and_severity(clock, person, receiver, wish, expected):
    model, north = factories.pump_model(), factories.clinic("north")
    subscribe(person, "webhook", receiver.url, wish)
    with receiver.up():
        raised("a/G1", clinic=north)
        raised("b/G1", rule="unit_off", severity="urgent")
        raised("c/G1", severity="note", pump_model=model)
        work()
    assert {one.partition(" ")[2] for one in told(receiver)} == expected


@pytest.mark.django_db
def test_alerts_of_rules_on_trial_are_told_to_nobody(subscription, receiver):
    raised(shadow=True)
    assert (Announcement.objects.count(), Delivery.objects.count()) == (0, 0)


@pytest.mark.django_db
def test_an_event_nobody_knows_is_a_mistake_of_the_program(db):
    with pytest.raises(ValueError, match="vanished"):
        announce(raised(), "vanished")


@pytest.mark.django_db
def test_what_was_said_before_somebody_subscribed_is_not_told(clock, person, receiver):
    raised()
    clock.advance(seconds=1)
    subscribe(person, "webhook", receiver.url, {})
    work()
    assert Delivery.objects.count() == 0


@pytest.mark.django_db
def test_an_announcement_spread_twice_is_sent_once(subscription, receiver, clock, minutes):
    with receiver.up():
        raised()
        work()
        minutes(10)
    assert len(receiver.got) == 1


@pytest.mark.django_db
def test_an_announcement_whose_job_was_lost_is_found_again(subscription, receiver, minutes):
    raised()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM procrastinate_jobs")
    with receiver.up():
        minutes(4)
    assert len(receiver.got) == 1


@pytest.mark.django_db
def test_a_worker_killed_while_it_sends_leaves_a_message_that_is_sent_again(
    subscription, receiver, minutes, monkeypatch
):
    raised()
    monkeypatch.setattr(webhooks, "send", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
    with pytest.raises(KeyboardInterrupt):
        work()
    monkeypatch.undo()
    before = Delivery.objects.get()
    assert (before.state, before.attempts) == (DeliveryState.WAITING, 1)


@pytest.mark.django_db
def test_a_killed_workers_message_keeps_its_id(subscription, receiver, clock, minutes, monkeypatch):
    with monkeypatch.context() as patched:
        patched.setattr(webhooks, "send", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        raised()
        with pytest.raises(KeyboardInterrupt):
            work()
    name = Delivery.objects.get().name.hex
    with receiver.up():
        minutes(2)
    assert receiver.ids == [name]


@pytest.mark.django_db
def test_a_replay_sends_the_same_under_the_same_ids(subscription, receiver, person):
    with receiver.up():
        for number in range(4):
            raised(f"elmsworth/G{number}")
        work()
        before = {one.headers["webhook-id"]: one.body for one in receiver.got}
        receiver.got.clear()
        assert replay(person, subscription.pk, 3) == 2
        work()
    assert [json.loads(one.body)["data"]["sequence"] for one in receiver.got] == [3, 4]
    assert all(before[one.headers["webhook-id"]] == one.body for one in receiver.got)


@pytest.mark.django_db
def test_a_replay_may_begin_at_a_time(subscription, receiver, person, clock):
    with receiver.up():
        raised("elmsworth/G1")
        clock.advance(hours=2)
        raised("elmsworth/G2")
        work()
        receiver.got.clear()
        clock.advance(hours=1)
        assert replay(person, subscription.pk, clock.now.replace(hour=10)) == 1
        work()
    assert told(receiver) == ["alert.raised elmsworth/G2"]


@pytest.mark.django_db
def test_a_replay_asked_for_while_the_same_is_sent_is_not_lost(subscription, receiver, person, clock):
    raised()
    real = webhooks.send

    def meanwhile(*given):
        webhooks.send = real
        real(*given)
        clock.advance(seconds=1)
        replay(person, subscription.pk, 1)

    webhooks.send = meanwhile
    try:
        with receiver.up():
            work()
    finally:
        webhooks.send = real
    assert len(receiver.ids) == 2
    assert len(set(receiver.ids)) == 1


@pytest.mark.django_db(transaction=True)
def test_two_workers_never_send_to_one_subscriber_at_once(settings, receiver):
    settings.VACUARY_WEBHOOK_HOSTS = ["127.0.0.1"]
    subscription = subscribe(factories.operator(), "webhook", receiver.url, {})
    raised()
    sending_begins = threading.Event()
    receiver.hold, receiver.holding = threading.Event(), sending_begins
    spread_one(Announcement.objects.get().pk)

    def first() -> None:
        sending.send_due(subscription.pk)
        connection.close()

    with receiver.up():
        worker = threading.Thread(target=first)
        worker.start()
        assert sending_begins.wait(20)
        assert sending.send_due(subscription.pk) == 0
        assert Delivery.objects.get().attempts == 1
        receiver.hold.set()
        worker.join()
    assert len(receiver.got) == 1
    assert Delivery.objects.get().state == DeliveryState.DELIVERED


@pytest.mark.django_db(transaction=True)
def test_the_lock_of_a_worker_that_is_gone_is_gone_too():
    connection.ensure_connection()
    other = psycopg.connect(
        **{**connection.get_connection_params(), "cursor_factory": psycopg.Cursor, "context": None}
    )
    other.execute("SELECT pg_advisory_lock(%s, %s)", [sending._LOCK, 7])
    with sending._alone(7) as is_mine:
        assert not is_mine
    other.close()
    for _ in range(200):
        with sending._alone(7) as is_mine:
            if is_mine:
                return
    raise AssertionError("the lock outlived its holder")


@pytest.mark.django_db(transaction=True)
def test_an_alert_that_is_not_stored_is_not_told(receiver, settings):
    subscribe(factories.operator(), "webhook", receiver.url, {})
    with transaction.atomic():
        raised()
        transaction.set_rollback(True)
    work()
    assert (Announcement.objects.count(), Delivery.objects.count()) == (0, 0)
