"""Rule: a clinic whose gauges all lean the same way, which points to its rig or its way of measuring.

A clinic with one gauge cannot be told from the gauge; then the gauge is named. See
`registry.statistics.leans` for how it is judged.
"""

from dataclasses import asdict

import numpy as np

from registry.alerts.gauge_off import compared, evidence_of, held_against, lacking
from registry.alerts.readings import unit_names
from registry.alerts.scanned import Scan
from registry.alerts.verdicts import Rule, Standing, Verdict, percent, standing
from registry.statistics.shifts import LIMITS, Shift

GAUGES = 2  # the least number of gauges, each of which leans by half of what matters at least
RULE = Rule(
    "clinic_off",
    3,
    "clinic",
    advice="Check rig, leaks and zeroing; then measure a unit that another clinic knows.",
    limits={**asdict(LIMITS), "gauges": GAUGES},
)


def judge(scan: Scan) -> list[Verdict]:
    """Judge every clinic, or the one whose gauge read new runs."""
    told = scan.leaning
    clinics: dict[int, list[int]] = {}
    for gauge, (clinic, _, _) in told.gauges.items():
        clinics.setdefault(clinic, []).append(gauge)
    if scan.only is not None:
        own = told.gauges.get(scan.only.gauge or 0)
        clinics = {own[0]: clinics[own[0]]} if own else {}
    return [_verdict(scan, clinic, gauges) for clinic, gauges in clinics.items()]


def _verdict(scan: Scan, clinic: int, gauges: list[int]) -> Verdict:
    told = scan.leaning
    name, keys = told.gauges[gauges[0]][1], {"clinic": clinic}
    judged = [gauge for gauge in gauges if gauge in told.shifts]
    shift = None
    if told.examined is not None and len(judged) >= GAUGES:
        shift = told.examined.together(clinic, judged)
    lacks = "a second gauge that other clinics' builds were read with: one cannot be told from the clinic"
    lacks = f"needs {lacks}" if shift is None else lacking(shift)
    if shift is None or lacks:
        says = f"Clinic {name} cannot be judged: {lacks}."
        return Verdict(name, Standing.UNJUDGED, 0.0, None, says, lacks=lacks, keys=keys)
    is_off = shift.is_material() and _as_one(shift, [told.shifts[gauge] for gauge in judged])
    units = unit_names(shift.deviations) if is_off else {}
    evidence = evidence_of(shift, units, scan.edition) | {"gauges": len(judged)}
    return Verdict(
        subject=name,
        standing=standing(is_off=is_off, is_clear=shift.is_clear()),
        size=shift.shift,
        p=shift.p,
        says=_says(shift, name, len(judged), is_off=is_off),
        evidence=evidence,
        keys=keys,
        since=max((since for gauge in judged if (since := told.since(gauge))), default=None),
        runs=shift.runs,
        growth=told.growth(shift),
        confirmed=shift.halves_agree(),
        why=(*held_against(shift), _leaning_alike(shift, [told.shifts[gauge] for gauge in judged])),
    )


def _as_one(together: Shift, single: list[Shift]) -> bool:
    """Whether each gauge leans the clinic's way, and none surely otherwise than the others do."""
    apart = [abs(shift.shift - together.shift) / max(shift.error, 1e-6) for shift in single]
    return _alike(together, single) == len(single) and max(apart) < 3


def _alike(together: Shift, single: list[Shift]) -> int:
    """How many gauges lean the clinic's way by half of what matters."""
    way = np.sign(together.shift)
    return sum(bool(way * shift.shift >= LIMITS.off / 2) for shift in single)


def _leaning_alike(together: Shift, single: list[Shift]) -> str:
    by = percent(LIMITS.off / 2)
    return (
        f"{_alike(together, single)} of its {len(single)} gauges read {by:g} % or more off that way; "
        "all have to, by about as much"
    )


def _says(shift: Shift, name: str, gauges: int, *, is_off: bool) -> str:
    if not is_off:
        return f"Clinic {name} reads within what other clinics read, its {gauges} gauges taken together."
    return f"Clinic {name} reads {compared(shift)}, with all of its {gauges} gauges. Check rig and zeroing."
