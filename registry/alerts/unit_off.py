"""Rule: a unit that stands outside its build, and whose gauge does not explain it.

See `registry.statistics.deviants` for how it is judged. Judged metric by metric, told once a unit. Common
practice, no published source: 10 % of vacuum or rate is more than units of one build differ by.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from registry.alerts.readings import METRICS, VACUUM, dated_pairs, unit_names
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict, high_or_low, percent, standing
from registry.answers.wording import counted, in_words
from registry.statistics.deviants import UNIT_LIMITS, Deviant, deviants

RULE = Rule(
    "unit_off",
    4,
    "unit",
    advice="Check rig and serial, then measure the unit again; never open a unit that a person will use.",
    limits=asdict(UNIT_LIMITS),
)
_NAME_LONGEST = 79


def judge(scan: Scan) -> list[Verdict]:
    """Judge every unit, or those that new runs were of: a query a metric, and one for their names.

    What a suspect gauge does is taken out first, and then what the unit's own gauge reads others off by that
    it read since, suspect or not. So one cause has one alert: a unit is held back while its gauge may explain
    it, and one that was told settles when the gauge is.
    """
    seen = scan.readings
    tests = seen.table["unit"].nunique() * len(METRICS)
    judged: dict[int, dict[str, Deviant]] = defaultdict(dict)
    rests_on: dict[int, int] = {}
    for metric in METRICS:
        pairs = dated_pairs(seen, [metric])
        if not len(pairs):
            continue
        leans = scan.leaning.of_rows(pairs) if metric in VACUUM else 0.0
        units, code = np.unique(pairs["unit"].to_numpy(np.int64), return_inverse=True)
        runs = np.bincount(code, pairs["runs"])
        rests_on |= dict(zip(units.tolist(), runs.astype(int).tolist(), strict=True))
        for deviant in deviants(pairs, leans, tests=tests):
            judged[deviant.unit][metric] = deviant
    chosen = _asked(scan)
    names = unit_names(judged if chosen is None else chosen & set(judged))
    doubtful = scan.off("unlisted_revision", "revision")
    return [_verdict(scan, unit, names[unit], judged[unit], (rests_on[unit], doubtful)) for unit in names]


def _asked(scan: Scan) -> set[int] | None:
    """The units new runs may be of: those their gauge read of builds with news."""
    if scan.only is None:
        return None
    table = scan.readings.table
    mine = table["pump_model"] == scan.only.pump_model
    if scan.only.gauge is not None:
        mine &= table["gauge"] == scan.only.gauge
    if scan.builds is not None:
        mine &= table["revision"].isin(scan.builds)
    return set(table.loc[mine, "unit"].tolist())


def subject_of(pump_model: str, serial: str) -> str:
    """How an alert names a unit; a very long model name is cut so that the serial stays whole."""
    return f"{pump_model[:_NAME_LONGEST]}/{serial}"


def _verdict(
    scan: Scan,
    unit: int,
    name: tuple[str, str],
    by_metric: Mapping[str, Deviant],
    known: tuple[int, frozenset[int]],
) -> Verdict:
    runs, doubtful = known
    build = next(iter(by_metric.values())).build
    subject, keys = subject_of(*name), {"unit": unit, "revision": build}
    lacks = {metric: deviant.lacks() for metric, deviant in by_metric.items() if not deviant.is_carried()}
    if len(lacks) == len(by_metric):
        lack = next(iter(lacks.values()))
        says = f"{name[0]} {name[1]} cannot be judged: {lack}."
        return Verdict(subject, Standing.UNJUDGED, 0.0, None, says, lacks=lack, keys=keys)
    carried = {metric: d for metric, d in by_metric.items() if d.is_carried()}
    outside = {metric: d for metric, d in carried.items() if d.is_material()}
    worst = min((outside or carried).values(), key=lambda d: (d.p, -abs(d.apart)))
    return Verdict(
        subject=subject,
        standing=standing(
            is_off=bool(outside) and build not in doubtful,
            is_clear=all(deviant.is_clear() for deviant in carried.values()),
        ),
        size=worst.apart,
        # A unit is as likely to stand out in any of the metrics it is judged by.
        p=min(1.0, worst.p * len(carried)),
        says=_says(name, outside, worst),
        evidence=_evidence(name, by_metric, scan.edition),
        keys=keys,
        runs=runs,
        confirmed=worst.seen_alike,
        why=tuple(_held_against(metric, deviant) for metric, deviant in carried.items()),
    )


def _held_against(metric: str, deviant: Deviant) -> str:
    gauge = f" beyond the {abs(percent(deviant.explained)):g} % its gauge reads others so too"
    return (
        f"{in_words(metric)} {high_or_low(deviant.apart)}{gauge if percent(deviant.explained) else ''}, "
        f"{abs(deviant.score):.1f} spreads from {counted(deviant.fellows, 'other unit')}; "
        f"{percent(UNIT_LIMITS.outside):g} % matters"
    )


def _says(name: tuple[str, str], outside: Mapping[str, Deviant], worst: Deviant) -> str:
    if not outside:
        return f"{name[0]} {name[1]} is like the other units of its build."
    told = ", ".join(
        f"{metric.replace('_', ' ')} {high_or_low(deviant.apart)}" for metric, deviant in outside.items()
    )
    return (
        f"{name[0]} {name[1]} stands outside its build: {told}, against "
        f"{counted(worst.fellows, 'other unit')} in {counted(worst.clinics, 'clinic')}; its gauge does not "
        "explain it. Check rig and serial, then measure it again."
    )


def _evidence(name: tuple[str, str], by_metric: Mapping[str, Deviant], edition: int) -> dict[str, Any]:
    return {
        "pump_model": name[0],
        "serial": name[1],
        "metrics": {
            metric: {
                "percent": percent(deviant.apart),
                "gauge_percent": percent(deviant.explained),
                "score": round(deviant.score, 2),
                "p": deviant.p,
                "outside": deviant.is_material(),
                "other_units": deviant.fellows,
                "clinics": deviant.clinics,
                "gauges": deviant.gauges,
                "settings": deviant.settings,
            }
            for metric, deviant in by_metric.items()
        },
        "limits": dict(RULE.limits),
        "edition": edition,
    }
