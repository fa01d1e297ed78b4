"""Two builds side by side, setting by setting: same, different, or cannot tell yet."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from registry.answers import cautions
from registry.answers.blocks import distinct, typical
from registry.answers.comparing import left_out_of, says_compared
from registry.answers.narrowing import Margins, Narrowed, chosen_margins, narrowed, rig_labels
from registry.answers.pairing import Pair, by_band, paired
from registry.answers.practice import crossing, reach
from registry.answers.setting import order_around, order_of_mode, told_bands
from registry.answers.sides import Side, find_side
from registry.answers.spreads import of_scatter, of_strata
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.unlike import unlike
from registry.answers.wording import dated, figure, natural
from registry.errors import Fault, Invalid
from registry.models.lookup import find_pump_model
from registry.statistics.differences import Estimate
from registry.statistics.equivalence import UNTOLD, Judged, judge_pair, overall
from registry.statistics.power import needed
from registry.statistics.strata import contrasts_of

_FIRST_STEP = {"units": 3, "clinics": 2, "towards": None}


def answer_comparison(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    old: str,
    new: str,
    *,
    mode: str | None = None,
    level: str | int | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    metric: str | None = None,
    rig: str | None = None,
    rate_margin: float | None = None,
    vacuum_margin: float | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
) -> dict[str, Any]:
    """Return the `comparisons` document: new less old at each setting and metric.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    `old` and `new` are a revision's label, `unit:SERIAL` or `firmware:TAG`. Without `metric` the main ones
    are compared (cycle rate, peak and residual vacuum); `all` takes all. Only like is compared with like:
    mode, programme, level, side, rig and power each part the settings, and what only one side was measured
    at is in `left_out`. Elevation is compared band by band: `difference` is the mean of those within the
    bands that both were measured in, each weighted by what it tells, and `by_elevation` holds them singly.
    Clinics that measured both with one gauge are their own control.

    Intervals hold all differences together at 95 % (Bonferroni over `family` settings and metrics). Margins:
    `rate_margin` in per cent, `vacuum_margin` in mmHg; a metric without a margin is never called same.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = find_pump_model(model)
    margins = chosen_margins(rate_margin, vacuum_margin)
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    asked = narrowed(
        number, mode=mode, level=level, programme=programme, power=power, elevation=elevation, metric=metric,
        rig=rig,
    )  # fmt: skip
    sides = compared_sides(pump_model, old, new, asked, moment)
    labels = rig_labels(sides[0].blocks, sides[1].blocks)
    before, after = (asked.of_rig(side.blocks, labels) for side in sides)
    pairs = list(paired(before, after, [side.unit for side in sides if side.unit is not None]))
    family = sum(pair.fit is not None for pair in pairs)
    settings = sorted((_row(pair, margins, family, labels) for pair in pairs), key=setting_order)
    names = (sides[0].name, sides[1].name)
    still = reach(before, after, margins.vacuum_mmhg, labels) if settings else []
    left_out = left_out_of(before, after, names, labels)
    return {
        "model": pump_model.name,
        "old": names[0],
        "new": names[1],
        "verdict": overall([row["verdict"] for row in settings]),
        "settings": settings,
        "family": family,
        "margins": margins.as_dict(),
        "reach": still,
        "left_out": left_out,
        **stamped,
        "says": dated(says_compared(pump_model.name, names, settings, still, left_out), moment),
        "cautions": [
            *unlike(before, after, names),
            *of_strata([pair.fit for pair in pairs]),
            *of_scatter([pair.scattered for pair in pairs], names),
            *cautions.COMPARISONS,
            *cautions.again(moment),
        ],
    }


def compared_sides(
    pump_model: Any, old: str, new: str, asked: Narrowed, moment: datetime | None = None
) -> tuple[Side, Side]:
    """Both sides with their summaries. Raises Invalid where they are one and the same."""
    before = find_side(pump_model, old, "old", asked.where, moment)
    after = find_side(pump_model, new, "new", asked.where, moment)
    if before.name == after.name:
        raise Invalid(
            f"Both sides are {before.name}",
            hint="Name two that differ: revisions, unit:SERIAL or firmware:TAG.",
            faults=(Fault("is the same as old", field="new"),),
        )
    return before.without(after), after.without(before)


def setting_order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """Setting by setting as a pump counts them."""
    return (
        order_of_mode(row["mode"]),
        natural(row["programme"]),
        natural(row["level"]),
        row["metric"],
        *order_around(row),
    )


def _row(pair: Pair, margins: Margins, family: int, labels: Mapping[int, str]) -> dict[str, Any]:
    """One row of the document."""
    key = pair.setting
    margin = margins.of(key.metric, key.unit)
    shown = {**key.named(labels), "elevation": told_bands(pair.bands), **_counts(pair)}
    if pair.fit is None:
        return {**shown, **_unjudged(pair)}
    of = contrasts_of(pair.fit)
    judged = judge_pair(pair.fit, margin, family, of)
    undecided = judged.verdict == UNTOLD
    # No further units of one build make a single unit known better.
    recruits = undecided and pair.fit.readings.fixed is None
    need = needed(pair.fit, judged.difference, judged.margin, family) if recruits else None
    return {
        **shown,
        **_figures(judged),
        "verdict": judged.verdict,
        "matters": _matters(judged),
        "needs": vars(need) if need else None,
        "bands": _bands(judged, key.metric),
        "set_aside": len(pair.fit.wild),
        "by_elevation": by_band(pair.bands, pair.fit, of),
    }


def _counts(pair: Pair) -> dict[str, int]:
    clinics = [distinct(side, "clinic") for side in (pair.old, pair.new)]
    return {
        "units_old": len(distinct(pair.old, "unit")),
        "units_new": len(distinct(pair.new, "unit")),
        "clinics_old": len(clinics[0]),
        "clinics_new": len(clinics[1]),
        "clinics_both": len(clinics[0] & clinics[1]),
    }


def _figures(judged: Judged) -> dict[str, Any]:
    shares = (judged.share, judged.share_low, judged.share_high)
    percent = [figure(None if share is None else 100 * share) for share in shares]
    return {
        "old": figure(judged.old.value),
        "new": figure(judged.new.value),
        "difference": figure(judged.difference.value),
        "low": figure(judged.low),
        "high": figure(judged.high),
        "percent": percent[0],
        "percent_low": percent[1],
        "percent_high": percent[2],
        "margin": figure(judged.margin),
        "p_different": figure(judged.p_apart),
        "p_same": figure(judged.p_same),
    }


def _unjudged(pair: Pair) -> dict[str, Any]:
    """A setting at which nothing tells how much units scatter: both values, and no more than that."""
    old, new = typical(pair.old), typical(pair.new)
    nothing = dict.fromkeys(("low", "high", "percent_low", "percent_high", "margin", "p_different", "p_same"))
    alone = Estimate(old, float("inf"), 1.0), Estimate(new, float("inf"), 1.0)
    ends = (float("-inf"), float("inf"))
    return {
        **nothing,
        "old": figure(old),
        "new": figure(new),
        "difference": figure(new - old),
        "percent": figure(100 * (new - old) / old) if old > 0 else None,
        "verdict": UNTOLD,
        "matters": None,
        "needs": None if pair.of_units else dict(_FIRST_STEP),
        "bands": crossing(alone[0].value, alone[1].value, ends, ends)
        if pair.setting.metric == "cycle_rate"
        else None,
        "set_aside": 0,
        "by_elevation": [],
    }


def _matters(judged: Judged) -> str | None:
    """Whether the difference is more than the margin: surely, perhaps, surely not; None without a margin."""
    if judged.beyond is None:
        return None
    if judged.beyond:
        return "yes"
    return "no" if judged.verdict == "same" else "perhaps"


def _bands(judged: Judged, metric: str) -> dict[str, Any] | None:
    if metric != "cycle_rate":
        return None
    ends = judged.old.interval(), judged.new.interval()
    return dict(crossing(judged.old.value, judged.new.value, *ends))
