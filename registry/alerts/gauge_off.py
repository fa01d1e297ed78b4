"""Rule: a gauge that reads high or low against what other clinics' gauges read on the same builds.

See `registry.statistics.shifts` for how it is judged. Common practice, no published source: 4 % is what a
bench gauge's class and its yearly drift may come to together, so a gauge beyond it wants a reference.
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from registry.alerts.readings import VACUUM, Readings, gauge_names, unit_names
from registry.alerts.verdicts import Rule, Verdict, high_or_low, percent, standing
from registry.answers.wording import counted
from registry.statistics.pairs import pair_table
from registry.statistics.shifts import LIMITS, Shift, gauge_shifts

RULE = Rule("gauge_off", 1, "gauge")
_SHOWN = 20


def shifts(seen: Readings) -> list[Shift]:
    """Judge every gauge that read vacuum."""
    table = seen.of(VACUUM)
    return gauge_shifts(pair_table(table), watched=seen.gauges_watched) if len(table) else []


def verdicts(seen: Readings, judged: list[Shift]) -> list[Verdict]:
    """Put the judged gauges into words: two queries for their names."""
    names = gauge_names([shift.gauge for shift in judged])
    units = unit_names({unit for shift in judged if shift.is_off() for unit in shift.deviations})
    return [_verdict(shift, names[shift.gauge], units, seen.edition) for shift in judged]


def _verdict(shift: Shift, name: str, units: Mapping[int, tuple[str, str]], edition: int) -> Verdict:
    return Verdict(
        subject=name,
        standing=standing(is_off=shift.is_off(), is_clear=shift.is_clear()),
        size=shift.shift,
        p=shift.p,
        says=_says(shift, name),
        evidence=_evidence(shift, units, edition) if shift.is_off() else {},
    )


def _says(shift: Shift, name: str) -> str:
    if not shift.is_off():
        return f"Gauge {name} reads within what other clinics read."
    low, high = sorted((percent(shift.low), percent(shift.high)))
    return (
        f"Gauge {name} reads {high_or_low(shift.shift)} ({low:g} to {high:g} %) against "
        f"{counted(shift.clinics, 'other clinic')}, on {counted(shift.units, 'unit')} of "
        f"{counted(shift.builds, 'build')}. Compare it with a reference before the next runs."
    )


def _evidence(shift: Shift, units: Mapping[int, tuple[str, str]], edition: int) -> dict[str, Any]:
    worst = sorted(shift.deviations.items(), key=lambda item: -abs(item[1]))[:_SHOWN]
    return {
        "shift_percent": percent(shift.shift),
        "low_percent": percent(shift.low),
        "high_percent": percent(shift.high),
        "p_adjusted": shift.p,
        "units": shift.units,
        "settings": shift.settings,
        "builds": shift.builds,
        "other_clinics": shift.clinics,
        "agreeing": round(shift.agreeing, 3),
        "readings": [
            {"pump_model": units[unit][0], "serial": units[unit][1], "percent": percent(apart)}
            for unit, apart in worst
        ],
        "limits": asdict(LIMITS),
        "edition": edition,
    }
