"""Alerts listed and watched."""

import json

import pytest

from client_cli import watching
from tests.client_cli.documents import ALERTS
from tests.client_cli.server import Trouble, problem

OPEN, OVER = ALERTS["results"]


class Enough(KeyboardInterrupt):
    """Ctrl-C."""


@pytest.fixture
def looks(registry, monkeypatch):
    """Serve these lists of alerts in turn, and press Ctrl-C after the last; returns the waits."""

    def plan(*lists, tags=True):
        waits, turn = [], iter(lists)
        current = {"alerts": next(turn), "number": 0}

        def answer(asked):
            tag = f'"{current["number"]}"' if tags else ""
            if tags and asked.headers.get("if-none-match") == tag:
                return 304, b"", {}
            return 200, json.dumps({"results": current["alerts"], "next": None}).encode(), {"ETag": tag}

        def sleep(seconds):
            waits.append(seconds)
            current["number"] += 1
            following = next(turn, None)
            if following is None:
                raise Enough
            current["alerts"] = following

        registry.answers["GET", "alerts"] = answer
        monkeypatch.setattr(watching, "sleep", sleep)
        return waits

    return plan


def test_filters_are_asked_of_the_server(vacuary, filled):
    filters = {
        "model": "Pellomi",
        "clinic": "harbour",
        "rule": "unit_off",
        "severity": "urgent",
        "state": "open",
    }
    vacuary("alerts", *(word for name, value in filters.items() for word in (f"--{name}", value)))
    assert {k: v for k, v in filled.asked[-1].query.items() if k != "page_size"} == filters


def test_severity_and_what_to_do_are_shown_while_it_is_open(vacuary, registry):
    told = {"severity": "urgent", "advice": "Compare it with a reference."}
    registry.answers["GET", "alerts"] = (200, {"results": [{**OPEN, **told}, {**OVER, **told}], "next": None})
    shown = " ".join(vacuary("alerts").out.split())
    assert shown.count("urgent") == 2
    assert shown.count("Compare it") == 1


@pytest.mark.parametrize(
    ("confidence", "told"),
    [(1.0, "over 99.9 % sure"), (0.9996, "over 99.9 % sure"), (0.98, "98 % sure"), (0.955, "95.5 % sure")],
)
def test_nothing_is_called_certain(vacuary, registry, confidence, told):
    alert = {**OPEN, "confidence": confidence}
    registry.answers["GET", "alerts"] = (200, {"results": [alert], "next": None})
    assert told in " ".join(vacuary("alerts").out.split())


def test_a_suspicion_that_lapsed_is_over(vacuary, registry):
    lapsed = {**OPEN, "state": "lapsed"}
    registry.answers["GET", "alerts"] = (200, {"results": [lapsed], "next": None})
    assert vacuary("alerts", "--state", "lapsed", "--fail-on-alert").code == 0


def test_a_watch_tells_what_is_open_and_then_what_is_new_or_changes_once(vacuary, looks):
    new = {**OPEN, "id": 4, "says": "Unit LK9 stands out."}
    looks([OPEN, OVER], [OPEN, OVER], [new, OPEN, OVER], [new, {**OPEN, "state": "settled"}, OVER])
    ran = vacuary("alerts", "--watch")
    assert ran.code == 130
    heads = [line for line in ran.out.splitlines() if line.startswith("Alert ")]
    assert [line.split(",")[:2] for line in heads] == [
        ["Alert 3", " raised"],
        ["Alert 4", " raised"],
        ["Alert 3", " settled"],
    ]


def test_a_watch_begins_with_what_is_open_however_long_ago_it_was_raised(vacuary, registry, monkeypatch):
    def answer(asked):
        is_first = "cursor" not in asked.query
        following = f"http://{asked.headers['host']}/api/v1/alerts?cursor=x" if is_first else None
        return 200, json.dumps({"results": [OVER if is_first else OPEN], "next": following}).encode(), {}

    registry.answers["GET", "alerts"] = answer
    ran = vacuary("alerts", "--watch", "--fail-on-alert")
    assert ran.code == 6
    assert ran.out.count("Alert ") == 1


def test_a_watch_in_json_is_a_document_a_line(vacuary, looks):
    looks([OPEN, OVER], [{**OPEN, "id": 4}, OPEN, OVER])
    ran = vacuary("alerts", "--watch", "--json")
    assert [json.loads(line)["id"] for line in ran.out.splitlines()] == [3, 4]


def test_a_watch_asks_for_changes_only(vacuary, registry, looks):
    looks([OPEN], [OPEN])
    watching_tag = []
    registry.on_request = lambda asked: watching_tag.append(asked.headers.get("if-none-match"))
    vacuary("alerts", "--watch")
    assert watching_tag == [None, '"0"']


def test_an_unchanged_list_is_not_sent_again_and_told_nothing_of(vacuary, registry, monkeypatch):
    sent, waits = [], []

    def answer(asked):
        sent.append(asked.headers.get("if-none-match"))
        return (304, b"", {}) if sent[-1] else (200, json.dumps(ALERTS).encode(), {"ETag": 'W/"x"'})

    def sleep(seconds):
        waits.append(seconds)
        if len(waits) == 3:
            raise Enough

    registry.answers["GET", "alerts"] = answer
    monkeypatch.setattr(watching, "sleep", sleep)
    ran = vacuary("alerts", "--watch", "--every", "7")
    assert sent == [None, 'W/"x"', 'W/"x"']
    assert ran.out.count("Alert ") == 1
    assert waits == [7, 7, 7]


def test_a_watch_outlasts_an_outage_and_tells_what_happened_meanwhile(vacuary, registry, looks, monkeypatch):
    monkeypatch.setenv("VACUARY_PATIENCE", "0")
    waits = looks([OPEN], [OPEN], [OPEN], [{**OPEN, "id": 4}, OPEN])
    vacuary_asked = iter([False, True, True, False])

    def trouble(asked):
        registry.troubles = [Trouble(status=503)] if next(vacuary_asked, False) else []

    registry.on_request = trouble
    monkeypatch.setenv("VACUARY_PATIENCE", "0")
    ran = vacuary("--patience", "0", "alerts", "--watch", "--every", "10")
    assert ran.code == 130
    assert ran.out.count("Alert 4") == 1
    assert ran.err.count("The watch goes on") == 1
    assert ran.err.count("answers again") == 1
    assert waits == [10, 20, 40, 10]


def test_waits_grow_to_five_minutes_at_most(vacuary, registry, monkeypatch):
    waits = []

    def sleep(seconds):
        waits.append(seconds)
        if len(waits) == 8:
            raise Enough

    registry.answers["GET", "alerts"] = (503, {})
    monkeypatch.setattr(watching, "sleep", sleep)
    vacuary("--patience", "0", "alerts", "--watch")
    assert waits == [60, 120, 240, 300, 300, 300, 300, 300]


def test_a_watch_ends_at_an_open_alert_when_asked_to(vacuary, looks):
    looks([OVER], [OVER], [OPEN, OVER])
    ran = vacuary("alerts", "--watch", "--fail-on-alert")
    assert ran.code == 6
    assert "Alert 3" in ran.out


def test_a_watch_ends_where_it_is_refused(vacuary, registry):
    registry.answers["GET", "alerts"] = problem(422, "invalid", "There is no state 'x'.")
    assert vacuary("alerts", "--watch", "--state", "x").code == 3
