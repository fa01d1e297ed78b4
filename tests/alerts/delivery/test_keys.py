"""Secrets and links that are stored nowhere, and what is dropped in time."""

import pytest
from django.db import connection
from procrastinate.contrib.django.models import ProcrastinateJob

from registry.alerts.delivery import keys
from registry.alerts.delivery.subscribing import subscribe
from registry.alerts.delivery.tasks import send, tidy
from registry.models import Delivery, Subscription
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised

pytestmark = pytest.mark.django_db


def test_secrets_follow_the_servers_key_and_the_subscription(subscription, person, receiver, settings):
    other = subscribe(person, "webhook", receiver.url, {})
    before = keys.webhook_secret(subscription)
    assert keys.webhook_secret(Subscription.objects.get(pk=subscription.pk)) == before
    assert keys.webhook_secret(other) != before
    assert len(keys.webhook_key(subscription)) == 32
    settings.SECRET_KEY = "another key of the server, as long as keys are"
    assert keys.webhook_secret(subscription) != before


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
