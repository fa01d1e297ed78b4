"""Secrets and links that are stored nowhere, and what is dropped in time."""

import pytest
from django.db import connection
from django.utils import timezone
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.alerts.delivery import keys
from registry.alerts.delivery.signatures import is_genuine
from registry.alerts.delivery.subscribing import rotate, subscribe
from registry.alerts.delivery.tasks import send, tidy
from registry.errors import Conflict
from registry.models import Delivery, Subscription
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised

pytestmark = pytest.mark.django_db


def test_secrets_follow_the_servers_key_and_the_subscription(subscription, person, receiver, settings):
    other = subscribe(person, "webhook", receiver.url, {})
    before = keys.webhook_secret(subscription)
    assert keys.webhook_secret(Subscription.objects.get(pk=subscription.pk)) == before
    assert keys.webhook_secret(other) != before
    assert [len(key) for key in keys.webhook_keys(subscription, timezone.now())] == [32]
    settings.SECRET_KEY = "another key of the server, as long as keys are"
    assert keys.webhook_secret(subscription) != before


def test_a_replaced_secret_signs_for_a_day_more(subscription, person, receiver, clock):
    first = keys.webhook_secret(subscription)
    second = keys.webhook_secret(rotate(person, subscription.pk))
    clock.advance(hours=1)
    third = keys.webhook_secret(rotate(person, subscription.pk))
    known = {name: [] for name in (first, second, third)}
    for number, hours in enumerate((0, 22.9, 0.2, 1)):  # since the first change: 1, 23.9, 24.1, 25.1
        clock.advance(hours=hours)
        with receiver.up():
            raised(f"elmsworth/G{number}")
            work()
        got = receiver.got[-1]
        for secret, good in known.items():
            good.append(is_genuine(secret, got.headers, got.body, clock.now.timestamp()))
    assert known == {first: [True, True, False, False], second: [True] * 3 + [False], third: [True] * 4}


def test_secrets_are_replaced_three_times_a_day_at_most(subscription, person, clock):
    for _ in range(3):
        rotate(person, subscription.pk)
    with pytest.raises(Conflict, match="3 replaced secrets") as caught:
        rotate(person, subscription.pk)
    assert "2026-03-03T09:00" in caught.value.hint
    clock.advance(days=1)
    assert len(rotate(person, subscription.pk).former_nonces) == 1


@pytest.mark.parametrize("key", ["", "1", "-", "x-y", "9" * 19 + "-a", "¹-a"])
def test_what_is_no_key_finds_no_feed(person, key):
    assert keys.subscription_of_feed(key) is None


def test_a_feed_of_who_has_left_is_no_more(clock, person):
    feed = subscribe(person, "feed", "", {})
    key = keys.feed_key(feed)
    assert keys.subscription_of_feed(key) == feed
    person.is_active = False
    person.save()
    assert keys.subscription_of_feed(key) is None


def test_a_link_to_confirm_grows_old_and_one_to_leave_does_not(clock, person, monkeypatch):
    mail = Subscription.objects.create(operator=person, channel="email", to="a@b.example", nonce="n")
    monkeypatch.setattr("time.time", lambda: 1_000_000.0)
    confirm, leave = keys.link_token(mail, "confirm"), keys.link_token(mail, "leave")
    monkeypatch.setattr("time.time", lambda: 1_000_000.0 + 4 * 24 * 3600)
    assert keys.subscription_of_link(confirm, "confirm") is None
    assert keys.subscription_of_link(leave, "leave") == mail


def test_old_deliveries_and_unconfirmed_addresses_are_dropped(clock, person, subscription, receiver):
    with receiver.up():
        raised()
        work()
    Subscription.objects.create(operator=person, channel="email", to="a@b.example", nonce="n")
    clock.advance(days=3)
    tidy()
    assert (Subscription.objects.count(), Delivery.objects.count()) == (2, 1)
    clock.advance(days=2)
    tidy()
    assert (Subscription.objects.count(), Delivery.objects.count()) == (1, 1)
    clock.advance(days=90)
    tidy()
    assert (Subscription.objects.count(), Delivery.objects.count()) == (1, 0)


def test_done_jobs_of_delivery_are_dropped_and_those_that_wait_are_not(person):
    done, waiting = send.defer(subscription_id=1), send.defer(subscription_id=2)
    with connection.cursor() as cursor:
        for status in ("doing", "succeeded"):
            cursor.execute("UPDATE procrastinate_jobs SET status = %s WHERE id = %s", [status, done])
    tidy()
    assert list(ProcrastinateJob.objects.values_list("id", flat=True)) == [waiting]
