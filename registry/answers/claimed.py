"""One claim held against what a build does, by JCGM 106."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from scipy import stats

from registry.answers.narrowing import Margins
from registry.answers.readings import readings_of
from registry.answers.setting import PLACE
from registry.answers.wording import figure
from registry.models import Claim
from registry.statistics.conformity import WANTED, Tolerance, acceptance, guard_band, judge
from registry.statistics.differences import Estimate, Fit, fit
from registry.statistics.domains import domain_of
from registry.statistics.matching import Need, chance_alone, within
from registry.waveform.units import mmhg_per, unit_named

SETTING = list(PLACE)
NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Judged:
    """A claim about one build at one setting, with the table it rests on and its figures for a document."""

    key: Mapping[str, Any]
    rows: pd.DataFrame
    figures: dict[str, Any]


def tolerance_of(claim: Claim, metric_unit: str, margins: Margins) -> Tolerance | None:
    """What the claim allows, in the metric's unit; None where its unit or its relation gives no limit.

    `equal to` allows what does not matter on either side.
    """
    value = _converted(claim.value, claim.unit, metric_unit)
    if value is None:
        return None
    if claim.relation == "at least":
        return Tolerance(low=value)
    if claim.relation == "at most":
        return Tolerance(high=value)
    margin = margins.of(claim.metric, metric_unit)
    width = margin.at(value) if margin else 0.0
    return Tolerance(value - width, value + width) if width > 0 else None


def judge_claim(claim: Claim, frame: pd.DataFrame, margins: Margins) -> Judged | None:
    """Judge the claim on the rows of one build; None when nothing measured can decide it.

    Where the claim leaves the setting open, the one that decides is taken: `at least` and `at most` are
    judged where the build's value is highest, `equal to` where it is nearest. Of rigs, sides, powers and
    bands of elevation the one most units were measured with is taken.

    What conforms or not is the typical unit. Its value has the standard uncertainty of the build's centre,
    stretched so that a normal quantile reaches as far as Student's at 95 %; a verdict stands only outside the
    guard band, where it is right with 95 % probability. How many units conform is told beside it.
    """
    found = []
    for _, at in frame.groupby(SETTING[:3], sort=False):
        around = [rows for _, rows in at.groupby(SETTING, sort=True)]
        rows = max(around, key=lambda one: int(one["unit"].nunique()))
        fitted = fit(readings_of(rows.assign(cell=0)))
        if fitted is not None:
            found.append((rows, fitted))
    if not found:
        return None
    rows, fitted = _deciding(claim, found)
    metric_unit = str(rows["metric_unit"].iloc[0])
    tolerance = tolerance_of(claim, metric_unit, margins)
    if tolerance is None:
        return None
    key = {name: rows[name].iloc[0] for name in SETTING}
    key["rig"] = int(key["rig"])
    return Judged(key, rows, {"metric_unit": metric_unit, **_figures(claim.metric, fitted, tolerance)})


def _deciding(claim: Claim, found: list[tuple[pd.DataFrame, Fit]]) -> tuple[pd.DataFrame, Fit]:
    def centre(one: tuple[pd.DataFrame, Fit]) -> float:
        return float(one[1].means[0])

    if claim.relation != "equal to":
        return max(found, key=centre)
    wanted = _converted(claim.value, claim.unit, str(found[0][0]["metric_unit"].iloc[0])) or 0.0
    return min(found, key=lambda one: abs(centre(one) - wanted))


def _figures(metric: str, fitted: Fit, tolerance: Tolerance) -> dict[str, Any]:
    typical = fitted.estimate((1.0,))
    low, high = typical.interval()
    u = stretched(typical)
    verdict = judge(typical.value, u, tolerance)
    inside = acceptance(u, tolerance) if u > 0 else tolerance
    # A unit's own value, without what its gauge and run add; gauges are in the doubt of the centre.
    between, known = fitted.between_units(0)
    of_units = Estimate(typical.value, (between + typical.error**2) ** 0.5, min(known, typical.freedom))
    domain = domain_of(metric)
    need = within(Need(tolerance.low, tolerance.high), domain)
    return {
        "centre": figure(typical.value),
        "low": figure(max(low, domain.low)),
        "high": figure(min(high, domain.high)),
        "probability": figure(chance_alone(of_units, need)),
        "probability_typical": figure(verdict.probability),
        "guard_band": figure(guard_band(u)),
        "accept_low": figure(inside.low) if inside else None,
        "accept_high": figure(inside.high) if inside else None,
        "verdict": verdict.verdict,
        "risk": figure(verdict.risk),
    }


def stretched(typical: Estimate) -> float:
    """A normal standard uncertainty that reaches as far at 95 % as Student's t does with few degrees."""
    reach = float(stats.t.ppf(WANTED, typical.freedom) / stats.norm.ppf(WANTED))
    return typical.error * reach


def _converted(value: float, unit: str, metric_unit: str) -> float | None:
    """The value in the metric's unit; None between units of different kinds."""
    if unit.strip().casefold() == metric_unit.casefold():
        return value
    named = unit_named(unit)
    return value * mmhg_per(named) if named is not None and metric_unit == "mmHg" else None
