"""The book of alerts: listed, seen, and dismissed with a reason."""

import pytest

from registry.alerts.book import dismiss, list_alerts, mark_seen
from registry.alerts.documents import alert_document
from registry.alerts.raising import record
from registry.alerts.verdicts import Rule
from registry.errors import Conflict, Invalid, NotFound, UnknownPumpModel
from registry.models import Alert
from tests import factories
from tests.alerts.test_raising import RULE, states, verdict

pytestmark = pytest.mark.django_db


def test_dismissal_takes_a_known_reason_and_other_needs_a_note() -> None:
    record(RULE, [verdict()])
    pk = Alert.objects.get().pk
    for reason in ("", "  ", "calibrated last week", "Other"):
        with pytest.raises(Invalid) as caught:
            dismiss(pk, reason)
        assert caught.value.faults[0].field == "reason"
        assert "gauge_recalibrated" in caught.value.hint
    for note in ("", "x" * 301, "a\0b", "\ud800"):
        with pytest.raises(Invalid) as caught:
            dismiss(pk, "other", note)
        assert caught.value.faults[0].field == "note"
    assert states() == ["raised"]
    assert dismiss(pk, "other", "to be  replaced in May", by="north/op").state == "dismissed"
    assert Alert.objects.get().note.text == "to be replaced in May"


def test_closed_alerts_do_not_change_and_unknown_ones_are_not_found() -> None:
    record(RULE, [verdict()])
    pk = Alert.objects.get().pk
    dismiss(pk, "false_alarm")
    with pytest.raises(Conflict):
        mark_seen(pk)
    with pytest.raises(NotFound):
        dismiss(0, "false_alarm")


def test_suspicions_are_nobody_s_to_answer() -> None:
    record(RULE, [verdict(confirmed=False)])
    with pytest.raises(NotFound):
        mark_seen(Alert.objects.get().pk)


def test_listing() -> None:
    record(RULE, [verdict(), verdict(subject="east/G1"), verdict(subject="lake/G1", confirmed=False)])
    record(RULE, [verdict("clear")])
    assert [a.subject for a in list_alerts()] == ["west/G1", "east/G1"]
    assert [a.subject for a in list_alerts(state="open")] == ["east/G1"]
    assert [a.subject for a in list_alerts(state="settled", rule="gauge_off")] == ["west/G1"]
    assert [a.subject for a in list_alerts(severity="urgent", state="open")] == ["east/G1"]
    assert list_alerts(severity="note").count() == list_alerts().count()
    assert not list_alerts(rule="unit_off").exists()
    assert list_alerts(rule="", state="", model="", clinic="").count() == 2
    for state in ("opne", "suspected"):
        with pytest.raises(Invalid) as caught:
            list_alerts(state=state)
        assert caught.value.faults[0].field == "state"
    assert "open, raised, seen, settled, dismissed" in caught.value.hint
    assert [a.subject for a in list_alerts(state="suspected", to_curator=True)] == ["lake/G1"]


def test_listing_by_model_and_clinic() -> None:
    model, clinic = factories.pump_model(), factories.clinic("west")
    record(Rule("unlisted", 1, "revision"), [verdict(subject="A", keys={"pump_model": model.pk})])
    record(RULE, [verdict(keys={"clinic": clinic.pk})])
    assert [a.subject for a in list_alerts(model=model.name)] == ["A"]
    assert [a.subject for a in list_alerts(clinic="WEST")] == ["west/G1"]
    with pytest.raises(UnknownPumpModel):
        list_alerts(model="no such pump")


def test_shadow_alerts_are_for_curators_who_ask() -> None:
    record(RULE, [verdict()], shadow=True)
    assert not list_alerts().exists()
    with pytest.raises(Invalid) as caught:
        list_alerts(shadow=True)
    assert caught.value.faults[0].field == "shadow"
    assert list_alerts(shadow=True, to_curator=True).count() == 1


def test_the_document() -> None:
    record(RULE, [verdict(cautions=("mind the cold",))])
    document = alert_document(Alert.objects.get())
    assert document["subject"] == {"gauge": "west/G1"}
    assert (document["rule"], document["rule_version"], document["state"]) == ("gauge_off", 1, "raised")
    assert document["says"] == "west/G1 is off"
    assert document["evidence"]["units"] == 5
    assert document["why"][0] == "8 % apart"
    assert document["severity"] == "urgent"
    assert "reference" in document["advice"]
    assert document["closed"] is None
    assert document["since"].endswith("+00:00")
    assert document["cautions"][0] == "mind the cold"


def test_why_it_ended_stands_apart_from_the_evidence_and_notes_are_for_curators() -> None:
    record(RULE, [verdict(), verdict(subject="east/G1")])
    record(RULE, [verdict("clear", subject="east/G1")])
    dismissed = dismiss(Alert.objects.get(subject="west/G1").pk, "rig_fault", "the hose was split")
    settled = alert_document(Alert.objects.get(subject="east/G1"))
    assert settled["closed"]["why"] == "east/G1 is clear"
    assert settled["closed"]["reason"] is None
    told = alert_document(dismissed, tell_reason=True)
    assert told["evidence"] == settled["evidence"]
    assert (told["closed"]["reason"], told["closed"]["note"]) == ("rig_fault", "the hose was split")
    to_all = alert_document(dismissed)
    assert to_all["closed"] == {**told["closed"], "note": None}
    assert "hose" not in str(to_all)
