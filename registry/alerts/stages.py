"""Which version of a rule tells, and which are on trial: a new one runs in shadow until it is promoted."""

from collections.abc import Iterable, Mapping
from typing import Any

from django.db import transaction
from django.utils import timezone

from registry.alerts.verdicts import Rule
from registry.errors import Conflict, NotFound
from registry.models import Alert, AlertState, RuleStage, RuleVersion

_ONGOING = (AlertState.SUSPECTED, AlertState.RAISED, AlertState.SEEN)
_TOLD = (AlertState.RAISED, AlertState.SEEN, AlertState.SETTLED, AlertState.DISMISSED)

Stages = Mapping[tuple[str, int], str]


def stages_of(rules: Iterable[Rule]) -> Stages:
    """The stage of each version. One that is new runs in shadow, unless nothing of its name has ever told."""
    rules = sorted(rules, key=lambda rule: (rule.name, rule.version))
    known = _stored()
    for rule in rules:
        if (rule.name, rule.version) in known:
            continue
        has_live = any(name == rule.name and stage == RuleStage.LIVE for (name, _), stage in known.items())
        stage = RuleStage.SHADOW if has_live or rule.shadow else RuleStage.LIVE
        RuleVersion.objects.bulk_create(
            [RuleVersion(rule=rule.name, version=rule.version, stage=stage, since=timezone.now())],
            ignore_conflicts=True,  # another worker may have met it first
        )
        known = _stored()
    return {(rule.name, rule.version): known[rule.name, rule.version] for rule in rules}


def promote(name: str, version: int, by: str) -> RuleVersion:
    """Let a version on trial tell, and retire the one that did. Open alerts go on under the new version.

    Raises NotFound for a version that never ran, Conflict for one that is not in shadow.
    """
    with transaction.atomic():
        versions = {v.version: v for v in RuleVersion.objects.select_for_update().filter(rule=name)}
        if version not in versions:
            raise NotFound(f"Rule {name} has no version {version} that ever ran")
        if versions[version].stage != RuleStage.SHADOW:
            raise Conflict(
                f"{name} {version} is {versions[version].stage}",
                hint="Only a version that runs in shadow is promoted.",
            )
        for other in versions.values():
            if other.stage == RuleStage.LIVE:
                _move(other, RuleStage.RETIRED, by)
        _move(versions[version], RuleStage.LIVE, by)
        Alert.objects.filter(rule=name, rule_version=version, shadow=True, state__in=_ONGOING).update(
            state=AlertState.LAPSED, closed_at=timezone.now(), closed_why="the version is on trial no more"
        )
    return versions[version]


def compared(name: str, version: int) -> dict[str, Any]:
    """What a version on trial said beside the live one, since the trial began: subjects by who told them.

    Raises NotFound for a version that never ran.
    """
    trial = RuleVersion.objects.filter(rule=name, version=version).first()
    if trial is None:
        raise NotFound(f"Rule {name} has no version {version} that ever ran")
    told = Alert.objects.filter(rule=name, state__in=_TOLD)
    mine = set(told.filter(shadow=True, rule_version=version).values_list("subject", flat=True))
    going_on = told.filter(shadow=False).exclude(closed_at__lt=trial.since)
    theirs = set(going_on.values_list("subject", flat=True))
    dismissed = going_on.filter(state=AlertState.DISMISSED)
    return {
        "rule": name,
        "version": version,
        "stage": trial.stage,
        "since": trial.since.isoformat(timespec="seconds"),
        "both": sorted(mine & theirs),
        "only_live": sorted(theirs - mine),
        "only_shadow": sorted(mine - theirs),
        "dismissed_that_shadow_tells": sorted(mine & set(dismissed.values_list("subject", flat=True))),
    }


def _move(version: RuleVersion, stage: RuleStage, by: str) -> None:
    version.stage, version.moved_by = stage, by[:200]
    version.save(update_fields=["stage", "moved_by", "since"])


def _stored() -> dict[tuple[str, int], str]:
    rows = RuleVersion.objects.values_list("rule", "version", "stage")
    return {(name, version): stage for name, version, stage in rows}
