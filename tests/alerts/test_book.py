"""The book of alerts: one open alert a subject, closed with a reason, also under two workers."""

import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC

import pytest
from django.db import connection

from registry.alerts.book import dismiss, list_alerts, mark_seen, record, settle_unjudged
from registry.alerts.documents import alert_document
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.errors import Conflict, Invalid, NotFound
from registry.models import Alert

RULE = Rule("gauge_off", 1, "gauge")


def verdict(standing: str = "off", size: float = 0.08, subject: str = "west/G1") -> Verdict:
    return Verdict(subject, Standing(standing), size, 0.99, f"{subject} is {standing}", {"units": 5})


def states() -> list[str]:
    return [a.state for a in Alert.objects.order_by("id")]


@pytest.mark.django_db
class TestBook:
    def test_the_same_cause_again_raises_nothing_new(self) -> None:
        record(RULE, [verdict()])
        record(RULE, [verdict(size=0.12)])
        alert = Alert.objects.get()
        assert alert.evidence == {"size": 0.08, "units": 5}
        assert alert.since.tzinfo is UTC

    def test_between_the_limits_nothing_changes(self) -> None:
        record(RULE, [verdict("between")])
        assert states() == []
        record(RULE, [verdict()])
        record(RULE, [verdict("between")])
        assert states() == ["raised"]

    def test_clear_settles_and_a_new_episode_is_a_new_alert(self) -> None:
        record(RULE, [verdict()])
        record(RULE, [verdict("clear")])
        record(RULE, [verdict()])
        assert states() == ["settled", "raised"]

    def test_other_rules_and_subjects_are_left_alone(self) -> None:
        record(RULE, [verdict(), verdict(subject="east/G1")])
        record(Rule("unit_off", 1, "unit"), [verdict("clear")])
        record(RULE, [verdict("clear", subject="east/G1")])
        assert dict(Alert.objects.values_list("subject", "state")) == {
            "west/G1": "raised",
            "east/G1": "settled",
        }

    def test_a_full_scan_settles_what_it_no_longer_finds(self) -> None:
        record(RULE, [verdict(), verdict(subject="east/G1")])
        settle_unjudged(RULE, ["east/G1"])
        assert dict(Alert.objects.values_list("subject", "state")) == {
            "west/G1": "settled",
            "east/G1": "raised",
        }

    def test_seen_stays_open_and_settles_like_a_raised_one(self) -> None:
        record(RULE, [verdict()])
        assert mark_seen(Alert.objects.get().pk).state == "seen"
        record(RULE, [verdict()])
        assert states() == ["seen"]
        record(RULE, [verdict("clear")])
        assert states() == ["settled"]

    def test_dismissal_needs_a_reason_and_keeps_it(self) -> None:
        record(RULE, [verdict()])
        pk = Alert.objects.get().pk
        for reason in ("", "  ", "x" * 301, "a\0b", "\ud800"):
            with pytest.raises(Invalid) as caught:
                dismiss(pk, reason)
            assert caught.value.faults[0].field == "reason"
        assert dismiss(pk, "calibrated  last week").state == "dismissed"
        assert Alert.objects.get().evidence["closed"]["why"] == "calibrated last week"

    def test_what_was_dismissed_stays_away_until_it_grows_or_turns(self) -> None:
        record(RULE, [verdict()])
        dismiss(Alert.objects.get().pk, "known, to be replaced in May")
        record(RULE, [verdict(size=0.09)])
        assert states() == ["dismissed"]
        record(RULE, [verdict(size=0.13)])
        assert states() == ["dismissed", "raised"]

    def test_a_dismissal_under_another_version_or_turned_round_does_not_hold(self) -> None:
        record(RULE, [verdict()])
        dismiss(Alert.objects.get().pk, "no")
        record(RULE, [verdict(size=-0.05)])
        assert states() == ["dismissed", "raised"]
        record(RULE, [verdict("clear")])
        record(Rule("gauge_off", 2, "gauge"), [verdict()])
        assert states() == ["dismissed", "settled", "raised"]

    def test_closed_alerts_do_not_change_and_unknown_ones_are_not_found(self) -> None:
        record(RULE, [verdict()])
        pk = Alert.objects.get().pk
        dismiss(pk, "no")
        with pytest.raises(Conflict):
            mark_seen(pk)
        with pytest.raises(NotFound):
            dismiss(0, "no")

    def test_listing(self) -> None:
        record(RULE, [verdict(), verdict(subject="east/G1")])
        record(RULE, [verdict("clear")])
        assert [a.subject for a in list_alerts()] == ["east/G1", "west/G1"]
        assert [a.subject for a in list_alerts(state="open")] == ["east/G1"]
        assert [a.subject for a in list_alerts(state="settled", rule="gauge_off")] == ["west/G1"]
        assert not list_alerts(rule="unit_off").exists()
        assert list_alerts(rule="", state="").count() == 2
        with pytest.raises(Invalid) as caught:
            list_alerts(state="opne")
        assert caught.value.faults[0].field == "state"
        assert "open, raised, seen, settled, dismissed" in caught.value.hint

    def test_the_document(self) -> None:
        record(RULE, [verdict()])
        document = alert_document(Alert.objects.get())
        assert document["subject"] == {"gauge": "west/G1"}
        assert (document["rule"], document["rule_version"], document["state"]) == ("gauge_off", 1, "raised")
        assert document["says"] == "west/G1 is off"
        assert document["evidence"] == {"size": 0.08, "units": 5}
        assert document["closed"] is None
        assert document["since"].endswith("+00:00")
        assert document["cautions"]

    def test_why_it_ended_stands_apart_from_the_evidence(self) -> None:
        record(RULE, [verdict(), verdict(subject="east/G1")])
        record(RULE, [verdict("clear", subject="east/G1")])
        dismissed = dismiss(Alert.objects.get(subject="west/G1").pk, "known to be replaced")
        settled = alert_document(Alert.objects.get(subject="east/G1"))
        assert settled["evidence"] == {"size": 0.08, "units": 5}
        assert settled["closed"]["why"] == "east/G1 is clear"
        assert settled["closed"]["at"].endswith("+00:00")
        told = alert_document(dismissed, tell_reason=True)
        assert (told["evidence"], told["closed"]["why"]) == (settled["evidence"], "known to be replaced")
        assert alert_document(dismissed)["closed"] == {"why": None, "at": told["closed"]["at"]}


@pytest.mark.django_db(transaction=True)
def test_two_workers_raise_one_alert() -> None:
    together = threading.Barrier(2)

    def work() -> None:
        together.wait(timeout=10)
        try:
            record(RULE, [verdict(), verdict(subject="east/G1")])
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as workers:
        for done in [workers.submit(work) for _ in range(2)]:
            done.result(timeout=30)
    assert sorted(a.subject for a in Alert.objects.all()) == ["east/G1", "west/G1"]
