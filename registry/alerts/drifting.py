"""Rule: a revision drifts with date: newer units behave differently, little by little, in several clinics.

See `registry.statistics.unlisted.drift`. A step is told by the rule of unlisted revisions instead.
"""

from typing import Any

import numpy as np

from registry.alerts.builds import Build, builds
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict
from registry.answers.wording import counted
from registry.statistics.robust import Floats
from registry.statistics.unlisted.along import Outcome
from registry.statistics.unlisted.drift import Drift, DriftLook, drift_with
from registry.statistics.unlisted.limits import LIMITS
from registry.statistics.unlisted.rows import Channel

RULE = Rule(
    "revision_drifting",
    1,
    "revision",
    severity="note",
    advice="Compare units of different age on one bench; ask the maker what changed in making or storage.",
    limits=LIMITS.as_dict(),
)
_CALM = 0.05
_LACKS = {
    Outcome.FEW: (
        f"needs {LIMITS.drift_units} units first read over {12 * LIMITS.drift_years:g} months or more"
    ),
    Outcome.HIDDEN: "early and late units were never read by the same gauge",
}


def judge(scan: Scan) -> list[Verdict]:
    """Judge every revision that was read."""
    return [_verdict(scan, build) for build in builds(scan)]


def _verdict(scan: Scan, build: Build) -> Verdict:
    units, years = build.by_date()
    found = drift_with(_channels(build, units, years), years)
    common: dict[str, Any] = {"keys": build.keys, "runs": build.runs, "pieces": len(units)}
    lacks = _LACKS.get(found.outcome, "")
    name = f"{build.name} {build.label}"
    if lacks:
        says = f"Whether {name} drifts cannot be told: {lacks}."
        return Verdict(build.subject, Standing.UNJUDGED, 0.0, None, says, lacks=lacks, **common)
    explained = build.revision in scan.off("unlisted_revision", "revision")
    if found.drift is None or explained:
        calm = explained or (found.p is not None and found.p > _CALM)
        standing = Standing.CLEAR if calm else Standing.BETWEEN
        return Verdict(
            build.subject, standing, 0.0, found.p, _says_nothing(name, found, explained=explained), **common
        )
    return _off(build, found, found.drift, scan.edition, common)


def _channels(build: Build, units: tuple[int, ...], years: Floats) -> list[Channel]:
    """The channels, none where too little is there to tell a drift."""
    enough = len(units) >= LIMITS.drift_units and np.ptp(years) >= LIMITS.drift_years
    return build.channels.along(units) if enough else []


def _off(build: Build, found: DriftLook, drift: Drift, edition: int, common: dict[str, Any]) -> Verdict:
    units, years = build.by_date()
    by_name = {channel.name: channel for channel in build.channels.along(units)}
    changes = {n: build.change_document(by_name[n], change) for n, change in drift.changes.items()}
    strongest = changes[drift.channel.name]
    says = (
        f"{build.name} {build.label} drifts with date: {drift.channel.name.replace('_', ' ')} "
        f"{strongest['change']:+.3g} {strongest['unit']} a year ({strongest['percent']:+g} %), seen within "
        f"{counted(drift.clinics, 'clinic')} on {counted(drift.units, 'unit')}."
    )
    return Verdict(
        subject=build.subject,
        standing=Standing.OFF,
        size=float(strongest["percent"]) / 100 * drift.years,
        p=found.p,
        says=says,
        evidence={
            "along": "date",
            "a_year": changes,
            "strongest": drift.channel.name,
            "years": round(float(np.ptp(years)), 2),
            "units": drift.units,
            "clinics": drift.clinics,
            "edition": edition,
        },
        confirmed=True,
        **common,
    )


def _says_nothing(name: str, found: DriftLook, *, explained: bool) -> str:
    if explained:
        return f"{name} changes at one place rather than little by little: see its unlisted revision."
    if found.outcome is Outcome.ONE_CLINIC:
        return f"What drifts in {name} is seen at one clinic only, so it is a matter of its gauge or rig."
    return f"{name} does not drift with date."
