"""An old setting translated: which settings of another build or pump are most like it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import prefetch_related_objects

from registry.answers import cautions
from registry.answers.blocks import Block, distinct, summary_blocks, typical
from registry.answers.comparing import told_setting
from registry.answers.doubts import BEYOND, UNTOLD, WITHIN, Doubt, doubt_of
from registry.answers.filters import chosen_level, chosen_mode
from registry.answers.narrowing import Margins, rig_labels, with_rig
from registry.answers.places import Place, build_of, by_place, lacking, names_in, place_shown
from registry.answers.setting import AROUND
from registry.answers.wording import dated, figure, in_a_hundred, in_words
from registry.errors import Fault, Invalid
from registry.models import PumpModel
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.matching import apart_in_margins

METRICS = {"cycle_rate": "cycles/min", "peak_vacuum": "mmHg"}
# More settings than these nobody tries one by one.
MOST_NEAR = 50
_FORM = "Write REVISION:MODE:LEVEL or REVISION:MODE:PROGRAMME:LEVEL, as in A:expression:5."


@dataclass(frozen=True)
class Wanted:
    """The setting to be like: its build, where it stands, what it was measured with, its typical values."""

    model: PumpModel
    revision: int
    label: str
    mode: str
    programme: str
    level: str
    around: tuple[str | int, ...]
    values: dict[str, float]
    units: int
    blocks: Mapping[str, Block]


def answer_like(  # noqa: PLR0913 - what a question narrows down to
    pump_model: PumpModel | None,
    like: str,
    like_model: str | None,
    where: Mapping[str, Any],
    edition: int,
    moment: datetime | None,
    *,
    rig: str | None,
    margins: Margins,
    stamped: Mapping[str, Any],
) -> dict[str, Any]:
    """Return the `settings-matches` document: how far settings lie from the one to be like.

    Settings of the same mode (unless `where` names one), side, rig, power and elevation, measured for
    cycle rate and peak vacuum; the nearest first, MOST_NEAR of them. `distance` is that of the further metric
    in margins, so 1 and less seems to be within what matters. `within` says whether it surely is or is not,
    at 5 % error; `probability` is the chance of it. Values are medians of unit means; a difference and its
    interval are those of a comparison (`doubts.doubt_of`), in which what gauges and units have in common at
    both settings cancels, and the difference of the medians where nothing tells how much units scatter.
    `like_model` is the pump of the old setting, the asked one without it.

    Raises Invalid on `like` when the setting cannot be read or was not measured.
    """
    home = find_pump_model(like_model, "like_model") if like_model and like_model.strip() else pump_model
    prefetch_related_objects([one for one in {home, pump_model} if one is not None], "revisions")
    wanted = _wanted(home, like, edition, moment, rig)
    filters = {"mode": wanted.mode, **where}
    blocks = summary_blocks(moment, edition=edition, metric__in=list(METRICS), **filters)
    names = names_in(blocks, pump_model)
    widths = _widths(wanted, margins)
    near = sorted(_near(blocks, wanted, widths), key=lambda one: (one[2], one[0]))
    rows = [
        {**place_shown(place, names), **_row(wanted, found, widths)} for place, found, _ in near[:MOST_NEAR]
    ]
    rows.sort(key=lambda row: row["distance"])
    return {
        "model": pump_model.name if pump_model else None,
        "needs": {},
        "like": _shown(wanted),
        "settings": rows,
        "left_off": max(len(near) - MOST_NEAR, 0),
        **stamped,
        "says": dated(_says(pump_model, wanted, rows), moment),
        "cautions": [*cautions.SETTINGS, *cautions.again(moment)],
    }


def _wanted(
    home: PumpModel | None, like: str, edition: int, moment: datetime | None, rig: str | None
) -> Wanted:
    parts = [part.strip() for part in like.split(":")]
    if home is None or len(parts) not in (3, 4) or not all(parts):
        why = "names no pump model" if home is None else "is not a setting"
        hint = "Give model, or like_model." if home is None else _FORM
        raise Invalid(f"'{like.strip()[:80]}' {why}", hint=hint, faults=(Fault(why, field="like"),))
    label, mode, *programme, level = parts
    try:
        revision = find_revision(home, label)
        named, at = chosen_mode(mode), chosen_level(level)
    except Invalid as refused:
        faults = (Fault(refused.detail, field="like"),)
        raise Invalid(refused.detail, hint=f"{refused.hint} {_FORM}", faults=faults) from refused
    blocks = summary_blocks(
        moment,
        pump_model=home,
        unit__revision=revision.pk,
        edition=edition,
        metric__in=list(METRICS),
        mode=named,
        level=at,
        programme__iexact="".join(programme),
    )
    around = _best_measured(blocks, rig)
    if around is None:
        raise Invalid(
            f"{home.name} revision {revision.label} was not measured at {' '.join(parts[1:])}",
            hint=f"Cycle rate and peak vacuum are both needed. {_FORM}",
            faults=(Fault("was not measured", field="like"),),
        )
    place, by_metric = around
    values = {metric: typical([block]) for metric, block in by_metric.items()}
    return Wanted(
        home, revision.pk, revision.label, str(named), "".join(programme), str(at), place, values,
        len(distinct(list(by_metric.values()), "unit")), by_metric,
    )  # fmt: skip


def _best_measured(
    blocks: Sequence[Block], rig: str | None
) -> tuple[tuple[str | int, ...], dict[str, Block]] | None:
    """The side, rig, power and elevation at which most units have both metrics, with those summaries."""
    if rig and rig.strip():
        blocks = with_rig(blocks, rig, rig_labels(blocks))
    found = sorted(
        ((_around(place), by_metric) for place, by_metric in by_place(blocks).items()),
        key=lambda one: one[0],
    )
    both = [one for one in found if len(one[1]) == len(METRICS)]
    return max(both, key=lambda one: len(distinct(list(one[1].values()), "unit")), default=None)


def _around(place: Place) -> tuple[str | int, ...]:
    return tuple(getattr(place, name) for name in AROUND)


def _widths(wanted: Wanted, margins: Margins) -> dict[str, float]:
    """How far apart each metric may lie and still not matter."""
    found = {metric: margins.of(metric, unit) for metric, unit in METRICS.items()}
    return {metric: of.at(wanted.values[metric]) for metric, of in found.items() if of is not None}


def _near(
    blocks: Sequence[Block], wanted: Wanted, widths: Mapping[str, float]
) -> Iterator[tuple[Place, Mapping[str, Block], float]]:
    """Every other setting measured alike, with its distance."""
    for place, by_metric in by_place(blocks).items():
        alike = _around(place) == wanted.around
        if alike and len(by_metric) == len(METRICS) and not _is_itself(place, wanted):
            values = {metric: typical([block]) for metric, block in by_metric.items()}
            apart = apart_in_margins(wanted.values, values, widths)
            yield place, by_metric, max(abs(value) for value in apart.values())


def _is_itself(place: Place, wanted: Wanted) -> bool:
    same = place.revision == wanted.revision and place.mode == wanted.mode
    return same and (place.programme.casefold(), place.level) == (wanted.programme.casefold(), wanted.level)


def _row(wanted: Wanted, by_metric: Mapping[str, Block], widths: Mapping[str, float]) -> dict[str, Any]:
    values = {metric: typical([block]) for metric, block in by_metric.items()}
    doubt = doubt_of(wanted.blocks, by_metric, widths)
    differences = {metric: _difference(wanted, doubt, metric, values[metric]) for metric in METRICS}
    apart = {metric: differences[metric] / widths[metric] for metric in METRICS}
    metrics = {
        metric: {
            "centre": figure(values[metric]),
            "difference": figure(differences[metric]),
            "in_margins": figure(apart[metric]),
            **_ends(doubt, metric),
        }
        for metric in METRICS
    }
    blocks = list(by_metric.values())
    missing = lacking(len(distinct(blocks, "unit")), len(distinct(blocks, "clinic")))
    return {
        "units": len(distinct(blocks, "unit")),
        "clinics": len(distinct(blocks, "clinic")),
        "state": "thin" if missing else "ok",
        "missing": missing,
        "probability": figure(doubt.chance),
        "distance": figure(max(abs(value) for value in apart.values())),
        # Below what a distribution needs, nothing is surely within.
        "within": UNTOLD if missing and doubt.state == WITHIN else doubt.state,
        "metrics": metrics,
    }


def _difference(wanted: Wanted, doubt: Doubt, metric: str, value: float) -> float:
    known = doubt.differences.get(metric)
    return known.value if known else value - wanted.values[metric]


def _ends(doubt: Doubt, metric: str) -> dict[str, float | None]:
    """The interval of a difference, and the chance that it is within what matters."""
    known = doubt.differences.get(metric)
    low, high = known.interval() if known else (None, None)
    return {
        "difference_low": figure(low),
        "difference_high": figure(high),
        "probability": figure(doubt.chances.get(metric)),
    }


def _shown(wanted: Wanted) -> dict[str, Any]:
    return {
        "model": wanted.model.name,
        "revision": wanted.label,
        "mode": wanted.mode,
        "programme": wanted.programme,
        "level": wanted.level,
        "units": wanted.units,
        **{metric: figure(value) for metric, value in wanted.values.items()},
    }


def _says(pump_model: PumpModel | None, wanted: Wanted, rows: list[dict[str, Any]]) -> str:
    rate, vacuum = wanted.values["cycle_rate"], wanted.values["peak_vacuum"]
    setting = told_setting({"mode": wanted.mode, "programme": wanted.programme, "level": wanted.level})
    about = (
        f"{wanted.model.name} revision {wanted.label} at {setting} ({rate:.0f} cycles/min, {vacuum:.0f} mmHg)"
    )
    if not rows:
        alike = "mode, side, rig, power, elevation"
        return f"{about}: nothing else was measured alike ({alike}) to hold against it."
    best = next((row for row in rows if row["within"] == WITHIN), rows[0])
    elsewhere = pump_model is None or pump_model.pk != wanted.model.pk
    nearest = f"{build_of(best, with_model=elsewhere)} at {told_setting(best)}"
    if best["within"] == WITHIN:
        return f"{about}: nearest is {nearest}, within what matters ({_apart(best)})."
    if all(row["within"] == BEYOND for row in rows):
        return f"{about}: none within margins; nearest is {nearest}, {_off(best)}."
    open_ = next(row for row in rows if row["within"] == UNTOLD)
    where = f"{build_of(open_, with_model=elsewhere)} at {told_setting(open_)}"
    first = f"{about}: whether {where} is within what matters cannot be told yet; it is {_off(open_)}"
    return f"{first}{_odds(open_)}. {_to_record(wanted, open_, where)}"


def _off(row: Mapping[str, Any]) -> str:
    """How far off in the metric that is furthest: "2.2 margins away (peak vacuum lower by 22 mmHg)"."""
    worst = max(row["metrics"], key=lambda metric: abs(row["metrics"][metric]["in_margins"]))
    by = row["metrics"][worst]["difference"]
    off = f"{in_words(worst)} {'higher' if by > 0 else 'lower'} by {abs(by):.3g} {METRICS[worst]}"
    return f"{row['distance']:.1f} margins away ({off})"


def _odds(row: Mapping[str, Any]) -> str:
    chance = row["probability"]
    return "" if chance is None else f", and within them with a chance of {in_a_hundred(chance, 'about ')}"


def _to_record(wanted: Wanted, row: Mapping[str, Any], where: str) -> str:
    """What to record so that it can be told."""
    if row["missing"]:
        return f"Record {row['missing']} of {where}."
    if wanted.units < row["units"]:
        return (
            f"Record more units of revision {wanted.label} at the old setting, beside the new with one gauge."
        )
    return f"Record more units of {where}, beside the old setting with one gauge."


def _apart(row: Mapping[str, Any]) -> str:
    """How far a setting is from the wanted one: "cycle rate -1.5 cycles/min, peak vacuum +12 mmHg"."""
    apart = {metric: row["metrics"][metric]["difference"] for metric in METRICS}
    return ", ".join(
        f"{in_words(metric)} {by:+.{0 if abs(by) >= 10 else 1}f} {METRICS[metric]}"
        for metric, by in apart.items()
    )
