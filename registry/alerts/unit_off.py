"""Rule: a unit that stands outside its build, and whose gauge does not explain it.

See `registry.statistics.deviants` for how it is judged. Judged metric by metric, told once a unit. Common
practice, no published source: 10 % of vacuum or rate is more than units of one build differ by.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import asdict
from typing import Any

from registry.alerts.readings import METRICS, VACUUM, Readings, unit_names
from registry.alerts.verdicts import Rule, Verdict, high_or_low, percent, standing
from registry.answers.wording import counted
from registry.statistics.deviants import UNIT_LIMITS, Deviant, deviants
from registry.statistics.pairs import pair_table
from registry.statistics.shifts import Shift

RULE = Rule("unit_off", 1, "unit")
_NAME_LONGEST = 79


def verdicts(
    seen: Readings, gauges: Iterable[Shift], *, only: Collection[int] | None = None
) -> list[Verdict]:
    """Judge every unit, or `only` some of them against all: one query for their names.

    What a suspect gauge does is taken out first, so that one cause has one alert.
    """
    suspect = {g.gauge: g.shift for g in gauges if g.is_carried() and not g.is_clear()}
    tests = seen.table["unit"].nunique() * len(METRICS)
    judged: dict[int, dict[str, Deviant]] = defaultdict(dict)
    for metric in METRICS:
        table = seen.of([metric])
        if len(table):
            leaning = suspect if metric in VACUUM else {}
            for deviant in deviants(pair_table(table), leaning, tests=tests):
                if only is None or deviant.unit in only:
                    judged[deviant.unit][metric] = deviant
    names = unit_names(judged)
    return [_verdict(names[unit], by_metric, seen.edition) for unit, by_metric in judged.items()]


def subject_of(pump_model: str, serial: str) -> str:
    """How an alert names a unit; a very long model name is cut so that the serial stays whole."""
    return f"{pump_model[:_NAME_LONGEST]}/{serial}"


def _verdict(name: tuple[str, str], by_metric: dict[str, Deviant], edition: int) -> Verdict:
    outside = {metric: d for metric, d in by_metric.items() if d.is_outside()}
    worst = min((outside or by_metric).values(), key=lambda d: (d.p, -abs(d.apart)))
    return Verdict(
        subject=subject_of(*name),
        standing=standing(
            is_off=bool(outside), is_clear=all(deviant.is_clear() for deviant in by_metric.values())
        ),
        size=worst.apart,
        p=worst.p,
        says=_says(name, outside, worst),
        evidence=_evidence(name, by_metric, edition) if outside else {},
    )


def _says(name: tuple[str, str], outside: dict[str, Deviant], worst: Deviant) -> str:
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


def _evidence(name: tuple[str, str], by_metric: dict[str, Deviant], edition: int) -> dict[str, Any]:
    return {
        "pump_model": name[0],
        "serial": name[1],
        "metrics": {
            metric: {
                "percent": percent(deviant.apart),
                "score": round(deviant.score, 2),
                "p_adjusted": deviant.p,
                "outside": deviant.is_outside(),
                "other_units": deviant.fellows,
                "clinics": deviant.clinics,
                "gauges": deviant.gauges,
                "settings": deviant.settings,
            }
            for metric, deviant in by_metric.items()
        },
        "limits": asdict(UNIT_LIMITS),
        "edition": edition,
    }
