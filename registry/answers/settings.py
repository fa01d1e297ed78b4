"""Settings that meet a need, by how likely the next unit meets it; and settings most like another one."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from functools import reduce
from typing import Any

import numpy as np

from registry.answers import cautions
from registry.answers.blocks import Block, summary_blocks
from registry.answers.comparing import told_setting
from registry.answers.filters import chosen_elevation, chosen_mode, chosen_power, chosen_programme
from registry.answers.likes import answer_like
from registry.answers.narrowing import chosen_margins, with_rig
from registry.answers.needs import chosen_needs, in_full, told
from registry.answers.places import (
    UNTOLD,
    Names,
    build_of,
    by_place,
    counts_of,
    lacking,
    names_in,
    place_shown,
)
from registry.answers.readings import readings_in
from registry.answers.setting import order_around, order_of_mode
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.wording import counted, dated, figure, in_a_hundred, in_words, natural
from registry.errors import Fault, Invalid
from registry.models import PumpModel, Revision
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.differences import Fit, fit
from registry.statistics.domains import domain_of
from registry.statistics.matching import Need, chance, chance_alone, correlations, within
from registry.statistics.robust import Floats

MOST = 200
_LIKELY = 0.5


def answer_settings(  # noqa: PLR0913 - one parameter a filter of the question
    model: str | None = None,
    *,
    needs: Mapping[str, str] | None = None,
    like: str | None = None,
    like_model: str | None = None,
    revision: str | None = None,
    mode: str | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    rig: str | None = None,
    rate_margin: float | None = None,
    vacuum_margin: float | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
) -> dict[str, Any]:
    """Return the `settings-matches` document.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    With `needs` (a range a metric, `rate` and `vacuum` for cycle_rate and peak_vacuum): settings of the
    model, or of every pump, by the probability that one run of the next unit at the next clinic meets all
    needs at once. With `like` (`OLD:MODE:LEVEL` or `OLD:MODE:PROGRAMME:LEVEL`): see `likes.answer_like`.
    Below three units from two clinics a setting is `thin` and has no probability.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = find_pump_model(model) if model and model.strip() else None
    margins = chosen_margins(rate_margin, vacuum_margin)
    if bool(needs) == bool(like):
        raise Invalid(
            "Say what a setting has to do, or which one it should be like",
            hint="For example rate=70..&vacuum=200..240, or like=A:expression:5; not both.",
            faults=(Fault("give needs or like", field="rate"),),
        )
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    found = _revision(pump_model, revision)
    given = {
        "mode": chosen_mode(mode),
        "programme__iexact": chosen_programme(programme),
        "power": chosen_power(power),
        "elevation": chosen_elevation(elevation),
        "unit__revision": found.pk if found else None,
        "pump_model": pump_model,
    }
    where = {name: value for name, value in given.items() if value is not None}
    if like:
        return answer_like(
            pump_model, like, like_model, where, number, moment, rig=rig, margins=margins, stamped=stamped
        )
    wanted = chosen_needs(needs or {})
    blocks = summary_blocks(moment, edition=number, metric__in=list(wanted), **where)
    return {**_meeting(pump_model, wanted, blocks, rig, moment), **stamped}


def _revision(pump_model: PumpModel | None, label: str | None) -> Revision | None:
    if label is None or not label.strip():
        return None
    if pump_model is None:
        raise Invalid(
            "A revision is one of a pump model",
            hint="Name the model as well.",
            faults=(Fault("needs a model", field="revision"),),
        )
    return find_revision(pump_model, label)


def _meeting(
    pump_model: PumpModel | None,
    needs: Mapping[str, Need],
    blocks: Sequence[Block],
    rig: str | None,
    moment: datetime | None,
) -> dict[str, Any]:
    names = names_in(blocks, pump_model)
    rows = sorted(_rows(with_rig(blocks, rig, names.rigs), needs, names), key=_order)
    return {
        "model": pump_model.name if pump_model else None,
        "needs": {metric: told(need) for metric, need in needs.items()},
        "like": None,
        "settings": rows[:MOST],
        "left_off": max(len(rows) - MOST, 0),
        "says": dated(_says(pump_model, needs, rows), moment),
        "cautions": [*cautions.SETTINGS, *cautions.again(moment)],
    }


def _rows(blocks: Sequence[Block], needs: Mapping[str, Need], names: Names) -> Iterator[dict[str, Any]]:
    """One row a setting at which all metrics asked for were measured."""
    for place, by_metric in by_place(blocks).items():
        if len(by_metric) == len(needs):
            yield {**place_shown(place, names), **_matched(by_metric, needs)}


def _matched(by_metric: Mapping[str, Block], needs: Mapping[str, Need]) -> dict[str, Any]:
    units, clinics = counts_of(by_metric.values())
    fits = {metric: fit(readings_in([[by_metric[metric]]])) for metric in needs}
    known = {metric: fitted for metric, fitted in fits.items() if fitted is not None}
    missing = lacking(units, clinics) or ("" if len(known) == len(needs) else UNTOLD)
    state = "thin" if missing else "ok"
    counts = {"units": units, "clinics": clinics, "state": state, "missing": missing}
    if state == "thin":
        centres = {metric: figure(float(block.mean.mean())) for metric, block in by_metric.items()}
        alone = {
            metric: {
                "centre": centres[metric],
                "predict_low": None,
                "predict_high": None,
                "probability": None,
            }
            for metric in needs
        }
        return {**counts, "probability": None, "distance": None, "within": None, "metrics": alone}
    aheads = [known[metric].ahead(0) for metric in needs]
    together = correlations(_side_by_side([by_metric[metric] for metric in needs]))
    possible = {metric: within(need, domain_of(metric)) for metric, need in needs.items()}
    probability = chance(aheads, list(possible.values()), together)
    metrics = {metric: _alone(metric, known[metric], need) for metric, need in possible.items()}
    return {
        **counts,
        "probability": figure(probability),
        "distance": None,
        "within": None,
        "metrics": metrics,
    }


def _alone(metric: str, fitted: Fit, need: Need) -> dict[str, Any]:
    domain, ahead = domain_of(metric), fitted.ahead(0)
    low, high = ahead.interval()
    return {
        "centre": figure(ahead.value),
        "predict_low": figure(max(low, domain.low)),
        "predict_high": figure(min(high, domain.high)),
        "probability": figure(chance_alone(ahead, need)),
    }


def _side_by_side(blocks: Sequence[Block]) -> Floats:
    """A row a unit at a clinic that has all metrics, a column a block; gauges of a clinic count alike."""
    pairs, columns = [], []
    for block in blocks:
        pair, row = np.unique(block.unit * 2**32 + block.clinic, return_inverse=True)
        pairs.append(pair)
        columns.append(np.bincount(row, block.mean) / np.bincount(row))
    shared = reduce(np.intersect1d, pairs)
    return np.column_stack([of[np.isin(pair, shared)] for pair, of in zip(pairs, columns, strict=True)])


def _order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """The likeliest first, thin ones last, then setting by setting."""
    probability = row["probability"]
    return (
        probability is None,
        -(probability or 0.0),
        row["model"],
        row["revision"] or "",
        order_of_mode(row["mode"]),
        natural(row["programme"]),
        natural(row["level"]),
        *order_around(row),
    )


def _says(pump_model: PumpModel | None, needs: Mapping[str, Need], rows: list[dict[str, Any]]) -> str:
    about = pump_model.name if pump_model else "All pumps"
    wanted = " and ".join(f"{in_words(metric)} {in_full(need)}" for metric, need in needs.items())
    carried = [row for row in rows if row["probability"] is not None]
    if not rows:
        return f"{about}: no setting was measured for {wanted}."
    if not carried:
        return f"{about}, {wanted}: {counted(len(rows), 'setting')} measured, all too thin to say how likely."
    best = carried[0]
    build = build_of(best, with_model=pump_model is None)
    at = f"{build} at {told_setting(best)}, met by {in_a_hundred(best['probability'], 'about ')} next units"
    likely = sum(row["probability"] >= _LIKELY for row in carried)
    if not likely:
        return f"{about}, {wanted}: no setting is likely to meet it; nearest is {at}."
    return f"{about}, {wanted}: best is {at}; {counted(likely, 'setting')} more likely than not."
