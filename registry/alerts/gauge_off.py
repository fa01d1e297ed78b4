"""Rule: a gauge that reads high or low against what other clinics' gauges read on the same builds.

Or that has changed by as much. See `registry.statistics.shifts` and `epochs` for how it is judged. Common
practice, no published source: 4 % is what a bench gauge's class and its yearly drift may come to together,
so a gauge beyond it wants a reference.
"""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from registry.alerts.leaning import Leaning
from registry.alerts.readings import unit_names
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict, high_or_low, percent, standing
from registry.answers.wording import counted
from registry.statistics.epochs import Step
from registry.statistics.shifts import LIMITS, Shift

RULE = Rule(
    "gauge_off",
    4,
    "gauge",
    advice="Compare the gauge with a reference before the next runs, and declare the calibration.",
    limits=asdict(LIMITS),
)
_SHOWN = 20


def judge(scan: Scan) -> list[Verdict]:
    """Judge every gauge that read vacuum, or the one that new runs were read with."""
    told = scan.leaning
    asked = [gauge for gauge in told.gauges if scan.only is None or gauge == scan.only.gauge]
    off = [gauge for gauge in asked if gauge in told.shifts and told.is_material(gauge)]
    units = unit_names({unit for gauge in off for unit in told.shifts[gauge].deviations})
    return [_verdict(scan, gauge, units) for gauge in asked]


def _verdict(scan: Scan, gauge: int, units: Mapping[int, tuple[str, str]]) -> Verdict:
    told = scan.leaning
    clinic, code, own = told.gauges[gauge]
    name, keys = f"{code}/{own}", {"gauge": gauge, "clinic": clinic}
    shift = told.shifts.get(gauge)
    lacks = lacking(shift)
    if shift is None or lacks:
        says = f"Gauge {name} cannot be judged: {lacks}."
        return Verdict(name, Standing.UNJUDGED, 0.0, None, says, lacks=lacks, keys=keys)
    is_off = told.is_material(gauge)
    explained = clinic in scan.off("clinic_off", "clinic")
    return Verdict(
        subject=name,
        standing=standing(is_off=is_off and not explained, is_clear=shift.is_clear()),
        size=shift.shift,
        p=told.chance(gauge),
        says=_says(told, gauge, name, explained=explained),
        evidence=evidence_of(shift, units, scan.edition) | _stepped(told.steps.get(gauge)),
        keys=keys,
        since=told.since(gauge),
        runs=shift.runs,
        confirmed=told.is_confirmed(gauge),
        why=(*held_against(shift), *_held_against_before(told, gauge)),
    )


def lacking(shift: Shift | None) -> str:
    """What a gauge or clinic is short of for being judged; empty where nothing is."""
    if shift is None:
        return "needs a build that another clinic has read as well"
    short = [
        counted(want - has, f"more {what}")
        for want, has, what in (
            (LIMITS.units, shift.units, "unit"),
            (LIMITS.clinics, shift.clinics, "other clinic"),
        )
        if has < want
    ]
    return f"needs {' and '.join(short)} on the same builds" if short else ""


def _says(told: Leaning, gauge: int, name: str, *, explained: bool) -> str:
    shift, step = told.shifts[gauge], told.steps.get(gauge)
    if explained:
        return f"Gauge {name} leans as its clinic's other gauges do: see the clinic."
    if not told.is_material(gauge):
        return f"Gauge {name} reads within what other clinics read."
    changed = f", and {_than_before(step)}" if step is not None and told.has_changed(gauge) else ""
    return f"Gauge {name} reads {compared(shift)}{changed}. Compare it with a reference before the next runs."


def _than_before(step: Step) -> str:
    by = percent(float(np.expm1(step.size)))
    return f"{abs(by):g} % {'higher' if by > 0 else 'lower'} than it did before"


def _held_against_before(told: Leaning, gauge: int) -> tuple[str, ...]:
    step = told.steps.get(gauge)
    if step is None:
        return ()
    limits = f"{percent(LIMITS.off):g} % matters where it reads {percent(LIMITS.clear):g} % off or more since"
    return (f"{_than_before(step)}; {limits}",)


def _stepped(step: Step | None) -> dict[str, Any]:
    """The figures of the step by which the gauge came to read as it does."""
    if step is None:
        return {}
    low, high = (float(np.expm1(step.size + side * 1.96 * step.error)) for side in (-1, 1))
    return {
        "changed_percent": percent(float(np.expm1(step.size))),
        "changed_low_percent": percent(low),
        "changed_high_percent": percent(high),
    }


def compared(shift: Shift) -> str:
    """How far it reads from others, and on what: for one line."""
    low, high = sorted((percent(shift.low), percent(shift.high)))
    others, builds = counted(shift.clinics, "other clinic"), counted(shift.builds, "build")
    return (
        f"{high_or_low(shift.shift)} ({low:g} to {high:g} %) against {others}, "
        f"on {counted(shift.units, 'unit')} of {builds}"
    )


def held_against(shift: Shift) -> tuple[str, ...]:
    """The figures against the limits, in words."""
    alike = percent(shift.agreeing)
    return (
        f"reads {high_or_low(shift.shift)}; {percent(LIMITS.off):g} % matters",
        f"{alike:g} % of its units lean that way; at least {percent(LIMITS.agreeing):g} % have to",
        f"{counted(shift.units, 'unit')} read; at least {LIMITS.units} are needed",
        f"held against {counted(shift.clinics, 'other clinic')}; at least {LIMITS.clinics} are needed",
    )


def evidence_of(shift: Shift, units: Mapping[int, tuple[str, str]], edition: int) -> dict[str, Any]:
    """The figures; single readings only where they were asked for by naming their units."""
    worst = sorted(shift.deviations.items(), key=lambda item: -abs(item[1]))[:_SHOWN]
    return {
        "shift_percent": percent(shift.shift),
        "low_percent": percent(shift.low),
        "high_percent": percent(shift.high),
        "units": shift.units,
        "settings": shift.settings,
        "builds": shift.builds,
        "other_clinics": shift.clinics,
        "agreeing": round(shift.agreeing, 3),
        "readings": [
            {"pump_model": units[unit][0], "serial": units[unit][1], "percent": percent(apart)}
            for unit, apart in worst
            if unit in units
        ],
        "limits": asdict(LIMITS),
        "edition": edition,
    }
