"""What verdicts make of alerts: suspected, confirmed, raised, settled; one open alert a subject."""

import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection, transaction
from django.utils import timezone

from registry.alerts.book import dismiss, mark_seen
from registry.alerts.judgements import keep
from registry.alerts.raising import record, settle_retired, settle_unjudged
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.models import Alert, Announcement, Judgement

RULE = Rule("gauge_off", 1, "gauge", severity="urgent", advice="compare it")


def verdict(standing: str = "off", size: float = 0.08, subject: str = "west/G1", **more) -> Verdict:
    said = {"p": 1e-6, "evidence": {"units": 5}, "runs": 5, "confirmed": True, "why": ("8 % apart",)}
    says = f"{subject} is {standing}"
    return Verdict(subject, Standing(standing), size, says=says, **{**said, **more})


def states() -> list[str]:
    return [alert.state for alert in Alert.objects.order_by("id")]


@pytest.mark.django_db
def test_a_slow_look_that_ends_last_does_not_bring_back_what_was_so_before() -> None:
    now = timezone.now()
    keep([(RULE, [verdict()])], now)
    late = [verdict("clear"), verdict("clear", subject="east/G1")]
    keep([(RULE, late)], now - timedelta(minutes=1))
    standings = dict(Judgement.objects.values_list("subject", "standing"))
    assert standings == {"west/G1": "off", "east/G1": "clear"}


@pytest.mark.django_db
def test_subjects_that_are_one_when_cut_lose_nothing_of_what_others_said() -> None:
    long = "w" * 120
    keep(
        [(RULE, [verdict(), verdict(subject=f"{long}1"), verdict("clear", subject=f"{long}2")])],
        timezone.now(),
    )
    standings = dict(Judgement.objects.values_list("subject", "standing"))
    assert standings == {"west/G1": "off", long: "clear"}


@pytest.mark.django_db
class TestConfirmation:
    def test_what_two_halves_of_the_evidence_say_is_raised_at_once(self) -> None:
        record(RULE, [verdict()])
        assert states() == ["raised"]
        assert Alert.objects.get().raised_at is not None

    def test_other_things_are_suspected_first_and_nobody_is_told(self) -> None:
        record(RULE, [verdict(confirmed=False)])
        record(RULE, [verdict(confirmed=False)])
        assert states() == ["suspected"]
        assert not Announcement.objects.exists()

    def test_runs_that_come_after_and_say_the_same_confirm(self) -> None:
        record(RULE, [verdict(confirmed=False)])
        record(RULE, [verdict(confirmed=False, runs=6, size=0.09)])
        alert = Alert.objects.get()
        assert (alert.state, alert.evidence["size"]) == ("raised", 0.09)
        assert Announcement.objects.count() == 1

    def test_runs_that_say_the_contrary_do_not(self) -> None:
        record(RULE, [verdict(confirmed=False)])
        record(RULE, [verdict(confirmed=False, runs=6, size=-0.08)])
        assert states() == ["suspected"]

    def test_a_suspicion_that_is_not_confirmed_lapses_unheard(self) -> None:
        record(RULE, [verdict(confirmed=False)])
        record(RULE, [verdict("clear", runs=6)])
        assert states() == ["lapsed"]
        assert not Announcement.objects.exists()


@pytest.mark.django_db
class TestChance:
    def test_what_chance_does_among_so_many_is_not_raised(self) -> None:
        others = [verdict("clear", 0.0, f"clinic/{k}", p=0.5) for k in range(99)]
        record(RULE, [verdict(p=6e-4), *others])
        assert states() == []
        assert Judgement.objects.get(subject="west/G1").q == pytest.approx(0.06)
        record(RULE, [verdict(p=4e-4)])
        assert states() == ["raised"]

    def test_each_rule_has_the_same_say(self) -> None:
        """Ten thousand units do not make a gauge's alert rarer than a rule beside it does."""
        other = Rule("unit_off", 1, "unit")
        record(other, [verdict("clear", 0.0, f"unit/{k}", p=0.5) for k in range(300)])
        record(RULE, [verdict(p=0.02), verdict("clear", 0.0, "east/G1", p=0.9)], live=[RULE, other])
        assert Judgement.objects.get(subject="west/G1").q == pytest.approx(0.08)

    def test_an_open_alert_ends_when_chance_would_do_as_much(self) -> None:
        record(RULE, [verdict()])
        record(RULE, [verdict(p=0.1)])
        assert states() == ["raised"]
        record(RULE, [verdict(p=0.3)])
        assert states() == ["settled"]


@pytest.mark.django_db
class TestEpisodes:
    def test_the_same_cause_again_raises_nothing_new_and_evidence_stays(self) -> None:
        record(RULE, [verdict()])
        record(RULE, [verdict(size=0.12)])
        alert = Alert.objects.get()
        assert (alert.evidence["size"], alert.evidence["units"]) == (0.08, 5)
        assert alert.why[0] == "8 % apart"
        assert alert.severity == "urgent"
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

    def test_nothing_left_to_judge_by_ends_an_alert(self) -> None:
        record(RULE, [verdict()])
        record(RULE, [verdict("unjudged", p=None, lacks="needs 2 more units")])
        assert states() == ["settled"]

    def test_since_is_when_the_effect_began_where_that_shows(self) -> None:
        began = datetime(2026, 3, 1, tzinfo=UTC)
        record(RULE, [verdict(since=began)])
        assert Alert.objects.get().since == began

    def test_a_full_scan_ends_what_it_no_longer_finds_and_rules_out_of_use(self) -> None:
        record(RULE, [verdict(), verdict(subject="east/G1")])
        Judgement.objects.filter(subject="west/G1").update(looked_at=timezone.now() - timedelta(days=1))
        settle_unjudged(RULE, timezone.now() - timedelta(hours=1))
        assert dict(Alert.objects.values_list("subject", "state")) == {
            "west/G1": "settled",
            "east/G1": "raised",
        }
        settle_retired(["unit_off"])
        assert states() == ["settled", "settled"]

    def test_seen_stays_open_and_settles_like_a_raised_one(self) -> None:
        record(RULE, [verdict()])
        assert mark_seen(Alert.objects.get().pk).state == "seen"
        record(RULE, [verdict()])
        assert states() == ["seen"]
        record(RULE, [verdict("clear")])
        assert states() == ["settled"]

    def test_what_was_dismissed_stays_away_until_it_grows_or_turns(self) -> None:
        record(RULE, [verdict()])
        dismiss(Alert.objects.get().pk, "known_batch")
        record(RULE, [verdict(size=0.09)])
        assert states() == ["dismissed"]
        record(RULE, [verdict(size=0.13)])
        assert states() == ["dismissed", "raised"]

    def test_a_dismissal_under_another_version_or_turned_round_does_not_hold(self) -> None:
        record(RULE, [verdict()])
        dismiss(Alert.objects.get().pk, "false_alarm")
        record(RULE, [verdict(size=-0.05)])
        assert states() == ["dismissed", "raised"]
        record(RULE, [verdict("clear")])
        record(replace(RULE, version=2), [verdict()])
        assert states() == ["dismissed", "settled", "raised"]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("shadow", [False, True])
def test_workers_that_look_at_once_raise_one_alert(shadow) -> None:
    together = threading.Barrier(4)

    def work() -> None:
        together.wait(timeout=10)
        try:
            record(RULE, [verdict(), verdict(subject="east/G1")], shadow=shadow)
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as workers:
        for done in [workers.submit(work) for _ in range(4)]:
            done.result(timeout=30)
    assert sorted(a.subject for a in Alert.objects.all()) == ["east/G1", "west/G1"]


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("end", [lambda: settle_unjudged(RULE, timezone.now()), lambda: settle_retired([])])
def test_what_is_dismissed_while_a_scan_settles_stays_dismissed(end) -> None:
    record(RULE, [verdict()])
    pk, is_held, goes_on = Alert.objects.get().pk, threading.Event(), threading.Event()

    def say_it_is_none() -> None:
        try:
            with transaction.atomic():
                dismiss(pk, "false_alarm")
                is_held.set()
                goes_on.wait(timeout=10)
        finally:
            connection.close()

    def settle() -> None:
        try:
            end()
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as people:
        curator = people.submit(say_it_is_none)
        assert is_held.wait(timeout=10)
        scan = people.submit(settle)
        _wait_until_somebody_waits_for_a_row()
        goes_on.set()
        curator.result(timeout=30)
        scan.result(timeout=30)
    assert states() == ["dismissed"]
    assert list(Announcement.objects.order_by("id").values_list("event", flat=True)) == [
        "raised",
        "dismissed",
    ]


def _wait_until_somebody_waits_for_a_row() -> None:
    end = time.monotonic() + 10
    with connection.cursor() as cursor:
        while time.monotonic() < end:
            cursor.execute("SELECT 1 FROM pg_locks WHERE NOT granted")
            if cursor.fetchone():
                return
            time.sleep(0.01)
    raise AssertionError("nobody waits")
