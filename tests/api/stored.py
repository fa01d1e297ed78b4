"""A registry that holds one of everything, and the names and numbers under which it is found."""

import json
from copy import deepcopy
from typing import Any

from django.utils import timezone

from registry.alerts.delivery.keys import feed_key
from registry.alerts.delivery.subscribing import subscribe
from registry.intake.enrol import enrol
from registry.intake.readings import keep_reading
from registry.intake.receive import receive
from registry.models import (
    Alert,
    Clinic,
    Edition,
    Gauge,
    Maker,
    PumpModel,
    Revision,
    Rig,
    SerialSpan,
    Unit,
)
from tests import community
from tests.api.stored_proposals import of_proposals
from tests.declared import CATALOGUE, GAUGE, MODEL, provenance
from tests.traces import trace_bytes

RECEIVER = "https://receiver.example/vacuary"


def store_everything() -> dict[str, dict[str, Any]]:
    """Fill the registry; returns, by operation id, the parameters and body of a request that finds it."""
    community.catalogue()
    person = community.operator()
    run = receive(trace_bytes(), provenance(), person).run
    keep_reading("G1", {"unit": "mmHg"}, person)
    receive(trace_bytes(seed=2), provenance(serial="LK005001", level=4), community.operator("brackwater"))
    shelves = {
        "makers": Maker,
        "pump_models": PumpModel,
        "revisions": Revision,
        "serial_spans": SerialSpan,
        "units": Unit,
        "clinics": Clinic,
        "gauges": Gauge,
        "rigs": Rig,
        "editions": Edition,
    }
    known: dict[str, dict[str, Any]] = {}
    for name, kind in shelves.items():
        known[f"{name}_list"] = {"query": {"page_size": 1}}
        known[f"{name}_retrieve"] = {"path_parameters": {kind._meta.pk.name: str(kind.objects.first().pk)}}
    return known | of_proposals() | _of_runs(run.pk) | _of_answers()


def alert(subject: str = "elmsworth/G1", **changes: Any) -> Alert:
    """Store an alert about a gauge."""
    said = {
        "rule": "gauge_reads_off",
        "rule_version": 1,
        "subject_kind": "gauge",
        "since": timezone.now(),
        "confidence": 0.98,
        "says": f"Gauge {subject} reads high",
        "evidence": {"size": 0.06},
        **changes,
    }
    return Alert.objects.create(subject=subject, **said)


def _of_runs(run_id: int) -> dict[str, dict[str, Any]]:
    the_run = {"path_parameters": {"run_id": run_id}}
    form = {"trace": trace_bytes(seed=7), "provenance": json.dumps(provenance())}
    return {
        "runs_upload": {"body": form, "media_type": "multipart/form-data"},
        "measure": {"body": form, "media_type": "multipart/form-data"},
        "runs_list": {"query": {"model": MODEL, "serial": "LK000123", "mine": "true", "state": "accepted"}},
        "runs_retrieve": the_run,
        "runs_trace": the_run,
        "runs_cycles": the_run,
        "runs_withdraw": {**the_run, "body": {"reason": "rig leaked"}, "media_type": "application/json"},
    }


def _of_answers() -> dict[str, dict[str, Any]]:
    seen, dismissed = alert("elmsworth/G1"), alert("brackwater/G1")
    named = {"pump_model": MODEL, "revision": "A"}
    split = alert(
        f"{MODEL}/A",
        rule="unlisted_revision",
        subject_kind="revision",
        evidence={"size": -0.1, "along": "serial", "first_changed": "LK000123", **named},
    )
    return {
        "serials": {"query": {"model": MODEL, "first": "LK000001", "last": "LK009999"}},
        "distributions": {"query": {"model": MODEL, "mode": "expression"}},
        "comparisons": {"query": {"model": MODEL, "old": "A", "new": "B"}},
        "claims": {"query": {"model": MODEL}},
        "identifications": {"query": {"model": MODEL, "serial": "LK000123", "mark": ["amber housing"]}},
        "identifications_ask": {
            "body": {"model": MODEL, "marks": ["housing=amber"]},
            "media_type": "application/json",
        },
        "benches": {"query": {"edition": 1}},
        "settings_matches": {"query": {"model": MODEL, "rate": "30..", "vacuum": "100..300"}},
        "part_swaps": {"query": {"model": MODEL, "old": "A", "new": "B", "part": "protector"}},
        "exports": {"query": {"model": MODEL, "format": "csv"}},
        "exports_dictionary": {"query": {"of": "distributions"}},
        "alerts_list": {"query": {"state": "open"}},
        "alert_rules": {},
        "explanations": {"query": {"model": MODEL, "serial": "LK000123"}},
        "alerts_seen": {"path_parameters": {"alert_id": seen.pk}},
        "alerts_dismiss": {
            "path_parameters": {"alert_id": dismissed.pk},
            "body": {"reason": "other", "note": "the gauge was warm"},
            "media_type": "application/json",
        },
        "alerts_list_revision": {
            "path_parameters": {"alert_id": split.pk},
            "body": {"label": "A2"},
            "media_type": "application/json",
        },
        "catalogue_load": {"body": deepcopy(CATALOGUE), "media_type": "application/json"},
        "gauges_declare": {
            "path_parameters": {"id": "G1"},
            "body": GAUGE,
            "media_type": "application/json",
        },
        "gauges_reading": {"path_parameters": {"code": "G1"}},
        "gauges_reading_forget": {"path_parameters": {"code": "G1"}},
        "gauges_reading_keep": {
            "path_parameters": {"code": "G1"},
            "body": {"unit": "kPa", "rate_hz": 50},
            "media_type": "application/json",
        },
        "health": {},
        "alerts_feed": {"query": {"severity": "note"}},
        **_of_subscriptions(),
    }


def _of_subscriptions() -> dict[str, dict[str, Any]]:
    """What finds the subscriptions of the curator who asks."""
    curator = enrol("elmsworth", "sorrel", curator=True)[0]
    hook, feed = subscribe(curator, "webhook", RECEIVER, {}), subscribe(curator, "feed", "", {})
    one = {"path_parameters": {"subscription_id": hook.pk}}
    return {
        "alerts_feed_own": {"path_parameters": {"key": feed_key(feed)}},
        "subscriptions_list": {},
        "subscriptions_add": {
            "body": {"channel": "webhook", "to": RECEIVER, "severity": "caution"},
            "media_type": "application/json",
        },
        "subscriptions_retrieve": one,
        "subscriptions_change": {**one, "body": {"active": True}, "media_type": "application/json"},
        "subscriptions_end": one,
        "subscriptions_replay": {**one, "body": {"since": 1}, "media_type": "application/json"},
        "subscriptions_rotate": one,
        "subscriptions_test": one,
        "subscriptions_deliveries": one,
    }
