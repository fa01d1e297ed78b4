"""One claim held against what a build does, by JCGM 106."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from registry.answers.blocks import Block
from registry.answers.narrowing import Margins
from registry.answers.places import counts_of, lacking
from registry.answers.readings import readings_in
from registry.answers.wording import figure, in_words
from registry.models import Claim
from registry.statistics.conformity import Tolerance, acceptance, guard_band, judge
from registry.statistics.differences import Estimate, Fit, fit_all
from registry.statistics.domains import domain_of
from registry.statistics.matching import Need, chance_alone, within
from registry.waveform.units import converted

NOT_MEASURED = "not measured"
UNDECIDED = "undecided"


@dataclass(frozen=True)
class Judged:
    """A claim about one build at one setting, with the summaries it rests on and its figures for a document.

    `missing` says in words why nothing could be decided, where it could not.
    """

    block: Block
    figures: dict[str, Any]
    missing: str = ""


def tolerance_of(claim: Claim, metric_unit: str, margins: Margins) -> Tolerance | None:
    """What the claim allows, in the metric's unit; None where its unit or its relation gives no limit.

    `equal to` allows what does not matter on either side.
    """
    value = converted(claim.value, claim.unit, metric_unit)
    if value is None:
        return None
    if claim.relation == "at least":
        return Tolerance(low=value)
    if claim.relation == "at most":
        return Tolerance(high=value)
    margin = margins.of(claim.metric, metric_unit)
    width = margin.at(value) if margin else 0.0
    return Tolerance(value - width, value + width) if width > 0 else None


def judge_claim(claim: Claim, blocks: Sequence[Block], margins: Margins) -> Judged | None:
    """Judge the claim on the summaries of one build; None when nothing measured can decide it.

    Where the claim leaves the setting open, the one that decides is taken: `at least` and `at most` are
    judged where the build's value is highest, `equal to` where it is nearest. Of rigs, sides, powers and
    bands of elevation the one most units were measured with is taken, of equals that of most clinics.

    What conforms or not is the typical unit. Its value has the standard uncertainty of the build's centre and
    its degrees of freedom; a verdict stands only outside the guard band, where it is right with 95 %
    probability. How many units conform is told beside it. Below three units from two clinics no verdict is
    given, and none where nothing says what the claim allows.
    """
    by_at: dict[tuple[Any, ...], list[Block]] = {}
    for block in sorted(blocks, key=lambda one: one.setting):
        by_at.setdefault(block.setting.at, []).append(block)
    most = [max(around, key=lambda one: counts_of([one])) for around in by_at.values()]
    fits = fit_all([readings_in([[block]]) for block in most])
    found = [(block, fitted) for block, fitted in zip(most, fits, strict=True) if fitted is not None]
    if not found:
        return None
    block, fitted = _deciding(claim, found)
    unit = block.setting.unit
    tolerance = tolerance_of(claim, unit, margins)
    if tolerance is None:
        return Judged(block, {**_centre(claim.metric, fitted), "metric_unit": unit}, _no_limit(claim, unit))
    figures = {**_figures(claim.metric, fitted, tolerance), "metric_unit": unit}
    missing = lacking(*counts_of([block]))
    if missing:
        return Judged(block, {**figures, "verdict": UNDECIDED, "risk": None}, missing)
    return Judged(block, figures)


def _no_limit(claim: Claim, unit: str) -> str:
    """Why nothing says what the claim allows."""
    if converted(claim.value, claim.unit, unit) is None:
        return f"the claim in {unit}, as it is measured; it is made in {claim.unit or 'no unit'}"
    of = in_words(claim.metric)
    return f"how much of a difference in {of} matters; enter the claim as at least and at most"


def _deciding(claim: Claim, found: Sequence[tuple[Block, Fit]]) -> tuple[Block, Fit]:
    def centre(one: tuple[Block, Fit]) -> float:
        return float(one[1].means[0])

    if claim.relation != "equal to":
        return max(found, key=centre)
    wanted = converted(claim.value, claim.unit, found[0][0].setting.unit) or 0.0
    return min(found, key=lambda one: abs(centre(one) - wanted))


def _centre(metric: str, fitted: Fit) -> dict[str, Any]:
    """What the typical unit does, where it is held against nothing."""
    typical, domain = fitted.estimate((1.0,)), domain_of(metric)
    low, high = typical.interval()
    return {
        "centre": figure(typical.value),
        "low": figure(max(low, domain.low)),
        "high": figure(min(high, domain.high)),
        "verdict": UNDECIDED,
    }


def _figures(metric: str, fitted: Fit, tolerance: Tolerance) -> dict[str, Any]:
    typical = fitted.estimate((1.0,))
    u, freedom = typical.error, typical.freedom
    verdict = judge(typical.value, u, tolerance, freedom=freedom)
    inside = acceptance(u, tolerance, freedom=freedom) if u > 0 else tolerance
    # A unit's own value, without what its gauge and run add; gauges are in the doubt of the centre.
    between, known = fitted.between_units(0)
    of_units = Estimate(typical.value, (between + typical.error**2) ** 0.5, min(known, typical.freedom))
    domain = domain_of(metric)
    need = within(Need(tolerance.low, tolerance.high), domain)
    return {
        **_centre(metric, fitted),
        "probability": figure(chance_alone(of_units, need)),
        "probability_typical": figure(verdict.probability),
        "guard_band": figure(guard_band(u, freedom=freedom)),
        "accept_low": figure(inside.low) if inside else None,
        "accept_high": figure(inside.high) if inside else None,
        "verdict": verdict.verdict,
        "risk": figure(verdict.risk),
    }
