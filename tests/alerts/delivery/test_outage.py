"""Receivers that are down, slow or at fault: nothing is lost, and nothing is sent for ever."""

import json
from datetime import timedelta

import pytest

from registry.alerts.delivery import webhooks
from registry.alerts.delivery.schedule import GIVEN_UP_AFTER, LONGEST
from registry.alerts.delivery.sending import send_due
from registry.models import Delivery, DeliveryState, Subscription
from tests.alerts.delivery.conftest import work
from tests.alerts.delivery.raising import raised

pytestmark = pytest.mark.django_db


def sequences(receiver) -> list[int]:
    return [json.loads(one.body)["data"]["sequence"] for one in receiver.got]


def test_a_receiver_that_is_down_for_an_hour_loses_none(subscription, receiver, minutes):
    for number in range(12):
        raised(f"elmsworth/G{number}")
        minutes(5)
    assert receiver.got == []
    with receiver.up():
        minutes(int(LONGEST.total_seconds() / 60 * 1.25) + 1)
    assert sorted(sequences(receiver)) == list(range(1, 13))
    assert len(set(receiver.ids)) == 12
    assert set(Delivery.objects.values_list("state", flat=True)) == {"delivered"}


def test_after_an_outage_the_first_that_is_taken_brings_all_the_others(subscription, receiver, minutes):
    for number in range(6):
        raised(f"elmsworth/G{number}")
    minutes(120)
    with receiver.up():
        raised("elmsworth/G9")
        work()
    assert sorted(sequences(receiver)) == [1, 2, 3, 4, 5, 6, 7]


def test_a_receiver_that_does_not_answer_is_asked_once_and_not_once_a_message(
    subscription, receiver, minutes
):
    for number in range(5):
        raised(f"elmsworth/G{number}")
    work()
    assert sum(Delivery.objects.values_list("attempts", flat=True)) == 1
    minutes(1)
    assert sum(Delivery.objects.values_list("attempts", flat=True)) <= 2


def test_a_message_that_is_refused_does_not_keep_others_back(subscription, receiver, minutes):
    receiver.statuses = [500]
    with receiver.up():
        raised("elmsworth/G1")
        raised("elmsworth/G2")
        work()
        assert sequences(receiver) == [2]
        assert "500" in Delivery.objects.get(sequence=1).last_error
        minutes(2)
    assert sequences(receiver) == [2, 1]


def test_waits_grow_and_end_after_three_days(subscription, receiver, clock, minutes):
    raised()
    work()
    delivery = Delivery.objects.get()
    waits = []
    while delivery.state == DeliveryState.WAITING:
        waits.append(delivery.next_at - clock.now)
        clock.now = delivery.next_at
        send_due(subscription.pk)
        delivery.refresh_from_db()
    assert delivery.state == DeliveryState.GIVEN_UP
    assert waits[0] < timedelta(minutes=2) < waits[3] < waits[5]
    assert max(waits) <= LONGEST * 1.25
    assert GIVEN_UP_AFTER <= clock.now - delivery.created_at < GIVEN_UP_AFTER + timedelta(hours=1)
    with receiver.up():
        minutes(120)
    assert receiver.got == []


def test_what_nobody_foresaw_keeps_no_other_back_and_is_given_up_some_time(
    subscription, receiver, clock, minutes, monkeypatch
):
    raised("elmsworth/G1")
    raised("elmsworth/G2")

    def odd(about, delivery, now):
        if delivery.sequence == 1:
            raise ValueError("odd")
        send(about, delivery, now)

    send = webhooks.send
    monkeypatch.setattr(webhooks, "send", odd)
    with receiver.up():
        work()
        assert sequences(receiver) == [2]
        first = Delivery.objects.get(sequence=1)
        assert (first.state, "fault" in first.last_error) == (DeliveryState.WAITING, True)
        clock.now = first.created_at + GIVEN_UP_AFTER
        send_due(subscription.pk)
    first.refresh_from_db()
    assert first.state == DeliveryState.GIVEN_UP


def test_the_receivers_wish_to_wait_is_obeyed(subscription, receiver, clock, minutes):
    receiver.statuses, receiver.answer_headers = [503], {"Retry-After": "7200"}
    with receiver.up():
        raised()
        minutes(119)
        assert receiver.got == []
        minutes(2)
    assert sequences(receiver) == [1]


def test_a_receiver_that_says_gone_is_told_nothing_more(subscription, receiver, minutes):
    receiver.statuses = [410]
    with receiver.up():
        raised()
        minutes(3)
        raised("elmsworth/G2")
        minutes(60)
    ended = Subscription.objects.get()
    assert (ended.is_active, "410" in ended.ended_why, receiver.got) == (False, True, [])


def test_redirects_are_not_followed(subscription, receiver, minutes):
    receiver.statuses, receiver.answer_headers = [302], {"Location": receiver.url}
    with receiver.up():
        raised()
        work()
        assert receiver.got == []
    assert "redirects are not followed" in Delivery.objects.get().last_error
