"""An old setting translated: which settings of another build or pump are most like it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import prefetch_related_objects

from registry.answers import cautions
from registry.answers.blocks import Block, distinct, summary_blocks, typical
from registry.answers.comparing import told_setting
from registry.answers.filters import chosen_level, chosen_mode
from registry.answers.narrowing import Margins, rig_labels, with_rig
from registry.answers.places import Place, build_of, by_place, lacking, names_in, place_shown
from registry.answers.setting import AROUND
from registry.answers.wording import dated, figure, in_words
from registry.errors import Fault, Invalid
from registry.models import PumpModel
from registry.models.lookup import find_pump_model, find_revision
from registry.statistics.matching import apart_in_margins

METRICS = {"cycle_rate": "cycles/min", "peak_vacuum": "mmHg"}
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
    cycle rate and peak vacuum; the nearest first. `distance` is that of the further metric in margins, so 1
    and less is within what matters. Values are medians of unit means. `like_model` is the pump of the old
    setting, the asked one without it.

    Raises Invalid on `like` when the setting cannot be read or was not measured.
    """
    home = find_pump_model(like_model, "like_model") if like_model and like_model.strip() else pump_model
    prefetch_related_objects([one for one in {home, pump_model} if one is not None], "revisions")
    wanted = _wanted(home, like, edition, moment, rig)
    filters = {"mode": wanted.mode, **where}
    blocks = summary_blocks(moment, edition=edition, metric__in=list(METRICS), **filters)
    names = names_in(blocks, pump_model)
    near = sorted(_near(blocks, wanted, margins), key=lambda row: row[1]["distance"])
    rows = [{**place_shown(key, names), **found} for key, found in near]
    return {
        "model": pump_model.name if pump_model else None,
        "needs": {},
        "like": _shown(wanted),
        "settings": rows,
        "left_off": 0,
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
        len(distinct(list(by_metric.values()), "unit")),
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


def _near(
    blocks: Sequence[Block], wanted: Wanted, margins: Margins
) -> Iterator[tuple[Place, dict[str, Any]]]:
    """Every other setting measured alike, with its distance."""
    widths = {
        metric: margin.at(wanted.values[metric])
        for metric, unit in METRICS.items()
        if (margin := margins.of(metric, unit)) is not None
    }
    for place, by_metric in by_place(blocks).items():
        alike = _around(place) == wanted.around
        if alike and len(by_metric) == len(METRICS) and not _is_itself(place, wanted):
            yield place, _distances(wanted, by_metric, widths)


def _is_itself(place: Place, wanted: Wanted) -> bool:
    same = place.revision == wanted.revision and place.mode == wanted.mode
    return same and (place.programme.casefold(), place.level) == (wanted.programme.casefold(), wanted.level)


def _distances(wanted: Wanted, by_metric: Mapping[str, Block], widths: Mapping[str, float]) -> dict[str, Any]:
    values = {metric: typical([block]) for metric, block in by_metric.items()}
    apart = apart_in_margins(wanted.values, values, widths)
    metrics = {
        metric: {
            "centre": figure(values[metric]),
            "difference": figure(values[metric] - wanted.values[metric]),
            "in_margins": figure(apart[metric]),
        }
        for metric in METRICS
    }
    distance = max(abs(value) for value in apart.values())
    blocks = list(by_metric.values())
    units, clinics = len(distinct(blocks, "unit")), len(distinct(blocks, "clinic"))
    missing = lacking(units, clinics)
    return {
        "units": units,
        "clinics": clinics,
        "state": "thin" if missing else "ok",
        "missing": missing,
        "probability": None,
        "distance": figure(distance),
        "metrics": metrics,
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
    best = rows[0]
    elsewhere = pump_model is None or pump_model.pk != wanted.model.pk
    nearest = f"{build_of(best, with_model=elsewhere)} at {told_setting(best)}"
    if best["distance"] <= 1:
        return f"{about}: nearest is {nearest}, within what matters ({_apart(best)})."
    worst = max(best["metrics"], key=lambda metric: abs(best["metrics"][metric]["in_margins"]))
    by = best["metrics"][worst]["difference"]
    off = f"{in_words(worst)} {'higher' if by > 0 else 'lower'} by {abs(by):.3g} {METRICS[worst]}"
    return f"{about}: none within margins; nearest is {nearest}, {best['distance']:.1f} margins away ({off})."


def _apart(row: Mapping[str, Any]) -> str:
    """How far a setting is from the wanted one: "cycle rate -1.5 cycles/min, peak vacuum +12 mmHg"."""
    apart = {metric: row["metrics"][metric]["difference"] for metric in METRICS}
    return ", ".join(
        f"{in_words(metric)} {by:+.{0 if abs(by) >= 10 else 1}f} {METRICS[metric]}"
        for metric, by in apart.items()
    )
