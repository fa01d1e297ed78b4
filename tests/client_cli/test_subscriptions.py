"""Subscriptions from the command line."""

from typing import Any

import pytest

from client_cli.commands import subscriptions
from tests.client_cli.server import problem

ONE: dict[str, Any] = {
    "id": 5, "channel": "webhook", "to": "https://receiver.example/", "model": None, "clinic": "harbour",
    "rule": None, "severity": "caution", "state": "active", "ended_why": "", "sequence": 12,
    "created_at": "2026-02-20T08:00:00Z",
}  # fmt: skip
QUEUED: dict[str, Any] = {
    "id": "ab", "sequence": 13, "event": "test", "alert": None, "state": "waiting", "attempts": 0,
    "next_at": "2026-02-20T08:00:00Z", "last_error": "", "created_at": "2026-02-20T08:00:00Z",
    "delivered_at": None,
}  # fmt: skip


@pytest.fixture(autouse=True)
def no_waits(monkeypatch):
    monkeypatch.setattr(subscriptions, "sleep", lambda _: None)


def test_adding_sends_what_was_said_and_shows_the_secret_once(vacuary, registry):
    registry.answers["POST", "subscriptions"] = (201, {**ONE, "secret": "whsec_abc"})
    ran = vacuary(
        *("subscriptions", "add", "WEBHOOK", "https://receiver.example/", "--clinic", "harbour"),
        *("--severity", "caution"),
    )
    assert ran.code == 0
    assert "whsec_abc" in ran.out
    assert registry.asked[-1].json == {
        "channel": "webhook", "to": "https://receiver.example/", "clinic": "harbour", "severity": "caution",
    }  # fmt: skip


def test_a_feed_s_address_is_shown_whole(vacuary, registry):
    address = "https://registry.example/api/v1/alerts/feed/5-" + "a" * 60
    registry.answers["POST", "subscriptions"] = (201, {**ONE, "channel": "feed", "to": "", "feed": address})
    assert address in vacuary("subscriptions", "add", "feed").out


def test_a_channel_nobody_knows_sends_nothing(vacuary, registry):
    assert vacuary("subscriptions", "add", "pigeon").code == 2
    assert registry.asked == []


def test_the_list_tells_what_for_and_whether_it_still_goes(vacuary, registry):
    rows = [
        {**ONE, "to": "https://receiver.example/"},
        {**ONE, "id": 6, "state": "ended", "ended_why": "the receiver answered 410", "clinic": None},
        {**ONE, "id": 7, "state": "unconfirmed"},
    ]
    registry.answers["GET", "subscriptions"] = (200, {"results": rows, "next": None})
    shown = " ".join(vacuary("subscriptions", "list").out.split())
    for part in ("clinic harbour", "answered 410", "12 messages", "waits until"):
        assert part in shown


def test_none_yet_says_how_to_begin(vacuary, registry):
    registry.answers["GET", "subscriptions"] = (200, {"results": [], "next": None})
    assert "subscriptions add" in vacuary("subscriptions", "list").out


def test_removing_says_so(vacuary, registry):
    registry.answers["DELETE", "subscriptions/5"] = (204, b"", {})
    ran = vacuary("subscriptions", "remove", "5")
    assert (ran.code, "ended" in ran.out) == (0, True)


@pytest.mark.parametrize(("since", "sent"), [("7", 7), ("2026-02-20", "2026-02-20")])
def test_a_replay_goes_by_number_or_time(vacuary, registry, since, sent):
    registry.answers["POST", "subscriptions/5/replay"] = (202, {"again": 3})
    ran = vacuary("subscriptions", "replay", "5", "--since", since)
    assert (ran.code, "3 messages" in ran.out) == (0, True)
    assert registry.asked[-1].json == {"since": sent}


def test_rotating_shows_the_new_secret_and_how_long_the_former_one_signs(vacuary, registry):
    until = "2026-02-21T08:00:00Z"
    told = {**ONE, "secret": "whsec_new", "former_secret_until": until}
    registry.answers["POST", "subscriptions/5/rotate"] = (200, told)
    ran = vacuary("subscriptions", "rotate", "5")
    assert (ran.code, "Secret: whsec_new" in ran.out) == (0, True)
    assert "The former secret signs as well until 2026-02-21 08:00." in ran.out


def becomes(registry, *states: dict[str, Any]) -> None:
    turn = iter(states)
    registry.answers["POST", "subscriptions/5/test"] = (202, QUEUED)
    registry.answers["GET", "subscriptions/5/deliveries"] = lambda _: (
        200,
        {"results": [{**QUEUED, **next(turn, {})}], "next": None},
    )


def test_a_test_waits_for_what_becomes_of_it(vacuary, registry):
    becomes(registry, {}, {"state": "delivered", "delivered_at": "2026-02-20T08:00:09Z"})
    ran = vacuary("subscriptions", "test", "5")
    assert (ran.code, ran.out) == (0, "Delivered 2026-02-20 08:00.\n")


def test_a_test_that_is_not_taken_ends_with_3(vacuary, registry):
    becomes(registry, {"last_error": "nothing listens at that address"})
    ran = vacuary("subscriptions", "test", "5")
    assert (ran.code, "nothing listens" in ran.out) == (3, True)


def test_a_test_that_nobody_sends_is_told_so(vacuary, registry):
    becomes(registry)
    ran = vacuary("subscriptions", "test", "5", "--wait", "2")
    assert (ran.code, "waits for a worker" in ran.out) == (0, True)


def test_a_refusal_is_told_in_the_server_s_words(vacuary, registry):
    registry.answers["POST", "subscriptions"] = problem(422, "invalid", "to: must begin with https://")
    ran = vacuary("subscriptions", "add", "webhook", "http://receiver.example/")
    assert (ran.code, "must begin with https" in ran.err) == (3, True)
