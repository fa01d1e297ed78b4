"""The rules as everybody may read them, with what became of their alerts."""

from collections import Counter
from typing import Any

from registry.alerts.judgements import ALARM, CALM
from registry.alerts.rules import all_rulings
from registry.alerts.stages import stages_of
from registry.alerts.verdicts import Rule
from registry.models import Alert, AlertState, DismissReason
from registry.models.alerts import UNTOLD


def rules_document() -> dict[str, Any]:
    """Return the `alert-rules` document: a row a version, in order of precedence, and the reasons known.

    `dismissed_share` is the share of closed alerts that were dismissed; None before any was closed. Versions
    that run no more are told as long as they have raised something.
    """
    rules = {(r.rule.name, r.rule.version): r.rule for r in all_rulings()}
    stages = stages_of(rules.values())
    counted = _counted()
    rows = [_row(rule, stages[key], counted.get(key, Counter())) for key, rule in rules.items()]
    gone = [_gone(*key, counts) for key, counts in sorted(counted.items()) if key not in rules]
    return {
        "results": [*rows, *gone],
        "reasons": dict(DismissReason.choices),
        "false_discovery_rate": ALARM,
        "ends_at": CALM,
    }


def _counted() -> dict[tuple[str, int], Counter[tuple[str, str, bool]]]:
    """How many alerts each version raised, by state, reason, and whether it was on trial."""
    found: dict[tuple[str, int], Counter[tuple[str, str, bool]]] = {}
    rows = Alert.objects.exclude(state__in=UNTOLD).values_list(
        "rule", "rule_version", "state", "reason", "shadow"
    )
    for rule, version, state, reason, shadow in rows.iterator():
        found.setdefault((rule, version), Counter())[state, reason, shadow] += 1
    return found


def _row(rule: Rule, stage: str, counts: Counter[tuple[str, str, bool]]) -> dict[str, Any]:
    return {
        "rule": rule.name,
        "version": rule.version,
        "stage": str(stage),
        "subject_kind": rule.subject_kind,
        "severity": rule.severity,
        "advice": rule.advice,
        "limits": dict(rule.limits),
        **_shares(counts),
    }


def _gone(name: str, version: int, counts: Counter[tuple[str, str, bool]]) -> dict[str, Any]:
    empty = {"subject_kind": "", "severity": "", "advice": "", "limits": {}}
    return {"rule": name, "version": version, "stage": "retired", **empty, **_shares(counts)}


def _shares(counts: Counter[tuple[str, str, bool]]) -> dict[str, Any]:
    """Of what was told; alerts of a trial tell nobody and are counted by themselves."""
    told: Counter[str] = Counter()
    reasons: Counter[str] = Counter()
    for (state, reason, shadow), number in counts.items():
        told["shadow" if shadow else state] += number
        if reason and not shadow:
            reasons[reason] += number
    closed = told[AlertState.SETTLED] + told[AlertState.DISMISSED]
    return {
        "raised": sum(told.values()) - told["shadow"],
        "open": told[AlertState.RAISED] + told[AlertState.SEEN],
        "settled": told[AlertState.SETTLED],
        "dismissed": told[AlertState.DISMISSED],
        "dismissed_by_reason": dict(reasons),
        "dismissed_share": round(told[AlertState.DISMISSED] / closed, 4) if closed else None,
        "in_shadow": told["shadow"],
    }
