"""Rule: what is called one revision behaves as two, so one of them is not in the catalogue.

See `registry.statistics.unlisted` for how it is judged. A change that follows one clinic or one gauge is a
matter of that bench and is never told as a build's.
"""

from datetime import UTC, datetime
from typing import Any

import numpy as np

from registry.alerts.builds import Build, builds
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.answers.wording import counted
from registry.statistics.unlisted.along import Outcome, Split
from registry.statistics.unlisted.behaviour import DATE, Behaviour, behaviour
from registry.statistics.unlisted.change import Change
from registry.statistics.unlisted.kinds import Kinds
from registry.statistics.unlisted.limits import LIMITS

RULE = Rule(
    "unlisted_revision",
    3,
    "revision",
    advice=(
        "Look at a unit from either side for marks and firmware. A curator lists the new revision from this "
        "alert, or dismisses it with a reason."
    ),
    limits=LIMITS.as_dict(),
)
_CALM = 0.05
_MOST_SHOWN = 200
_LACKS = {
    Outcome.FEW: (
        f"needs {2 * LIMITS.units} units of this revision or more, {LIMITS.units} on either side of a change"
    ),
    Outcome.HIDDEN: (
        "a build cannot be told from a bench here: early and late units were never read by the same gauge in "
        f"{LIMITS.clinics} clinics. Record some units of either with gauges that read the others"
    ),
}


def judge(scan: Scan) -> list[Verdict]:
    """Judge every revision that was read."""
    return [_verdict(build, behaviour(build.channels, build.orders), scan.edition) for build in builds(scan)]


def _verdict(build: Build, found: Behaviour, edition: int) -> Verdict:
    lacks = _LACKS.get(found.outcome, "")
    # No `pieces`: p is that of ever seeing as much while units come (`Limits.charged`), which is tried by
    # replay (`tests.trial.unlisted`).
    common: dict[str, Any] = {"keys": build.keys, "runs": build.runs}
    if lacks:
        says = f"Whether {build.name} {build.label} is one build cannot be told: {lacks}."
        return Verdict(build.subject, Standing.UNJUDGED, 0.0, None, says, lacks=lacks, **common)
    if found.outcome is not Outcome.FOUND:
        calm = found.p is not None and found.p > _CALM
        standing = Standing.CLEAR if calm else Standing.BETWEEN
        return Verdict(build.subject, standing, 0.0, found.p, _says_nothing(build, found), **common)
    evidence = _evidence(build, found, edition)
    return Verdict(
        subject=build.subject,
        standing=Standing.OFF,
        size=float(evidence["changes"][evidence["strongest"]]["percent"]) / 100,
        p=found.p,
        says=_says(build, evidence),
        evidence=evidence,
        since=_since(build, found),
        # What is hardly beyond chance flickers from look to look, so it waits for further runs that say so.
        confirmed=found.is_sure(),
        **common,
    )


def _says_nothing(build: Build, found: Behaviour) -> str:
    name = f"{build.name} {build.label}"
    if found.outcome is Outcome.ONE_CLINIC:
        return f"What changes in {name} is seen at one clinic only, so it is a matter of its gauge or rig."
    if found.outcome is Outcome.GRADUAL:
        return f"{name} changes little by little rather than from one unit to the next."
    return f"{name} behaves as one build."


def _says(build: Build, evidence: dict[str, Any]) -> str:
    changes = evidence["changes"]
    told = ", ".join(
        f"{name.replace('_', ' ')} {change['change']:+.3g} {change['unit']} ({change['percent']:+g} %)"
        for name, change in changes.items()
        if name == evidence["strongest"] or change["low"] * change["high"] > 0
    )
    where = {
        "serial": f"changes at serial {evidence['first_changed']}",
        "date": f"changes with units first read from {evidence['first_changed']} on",
    }.get(evidence["along"], f"holds two kinds of units, {evidence['units_after']} of them of the rarer")
    clinics = counted(evidence["clinics"], "clinic")
    return f"{build.name} {build.label} {where}: {told}; seen within {clinics}."[:400]


def _evidence(build: Build, found: Behaviour, edition: int) -> dict[str, Any]:
    split = found.look.splits[0] if found.look and found.look.splits else None
    kinds = found.kinds.kinds if found.kinds else None
    told = _of_split(build, found, split) if split else _of_kinds(build, found, kinds)
    return {**told, "edition": edition, "p": found.p, "pump_model": build.name, "revision": build.label}


def _of_split(build: Build, found: Behaviour, split: Split) -> dict[str, Any]:
    assert found.order is not None  # noqa: S101 - a split lies along an order
    assert found.look is not None  # noqa: S101
    serials = [build.serials[unit] for unit in found.order.units]
    return {
        "along": found.order.along,
        "first_changed": serials[split.before],
        "between": [serials[split.before - 1], serials[split.before]],
        "place_low": serials[split.place.low],
        "place_high": serials[split.place.high],
        "place_probability": round(split.place.probability, 3),
        "strongest": split.channel.name,
        "changes": _changes(build, found, split.changes),
        "units_before": split.before,
        "units_after": len(serials) - split.before,
        "units_that_tell": list(split.units),
        "last_seen": serials[-1],
        "further": [
            {
                "first_changed": serials[other.before],
                "strongest": other.channel.name,
                "changes": _changes(build, found, other.changes),
            }
            for other in found.look.splits[1:]
        ],
        "changed_units": serials[split.before :][:_MOST_SHOWN] if found.order.along == DATE else [],
        "clinics": len(split.clinics),
    }


def _of_kinds(build: Build, found: Behaviour, kinds: Kinds | None) -> dict[str, Any]:
    assert found.order is not None  # noqa: S101 - two kinds or a split: one of them was found
    assert kinds is not None  # noqa: S101
    rarer = [
        build.serials[unit] for unit, second in zip(found.order.units, kinds.second, strict=True) if second
    ]
    return {
        "along": "none",
        "first_changed": None,
        "between": [],
        "strongest": kinds.channel.name,
        "changes": _changes(build, found, kinds.changes),
        "units_before": len(build.serials) - len(rarer),
        "units_after": len(rarer),
        "units_that_tell": list(kinds.units),
        "changed_units": rarer[:_MOST_SHOWN],
        "apart": round(kinds.apart, 1),
        "clinics": len(kinds.clinics),
    }


def _changes(build: Build, found: Behaviour, changes: dict[str, Change]) -> dict[str, Any]:
    by_name = {channel.name: channel for channel in found.channels}
    return {name: build.change_document(by_name[name], change) for name, change in changes.items()}


def _since(build: Build, found: Behaviour) -> datetime | None:
    """When the first changed unit was first read."""
    if found.order is None or not found.look or not found.look.splits:
        return None
    later = [build.read_at[u] for u in found.order.units[found.look.splits[0].before :] if u in build.read_at]
    return datetime.fromtimestamp(float(np.min(later)), UTC) if later else None
