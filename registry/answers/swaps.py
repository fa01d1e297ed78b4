"""A difference between two builds split between a part that can be swapped and the base that bears it."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

import pandas as pd

from registry.answers import cautions
from registry.answers.blocks import frame_of
from registry.answers.comparing import told_setting
from registry.answers.comparisons import compared_sides, setting_order
from registry.answers.narrowing import Margins, narrowed
from registry.answers.parts import Parts, chosen_part, find_parts, rest_of, value_of
from registry.answers.readings import readings_of
from registry.answers.setting import PLACE, order_around, order_of_mode
from registry.answers.stamp import chosen_edition, chosen_moment, stamp
from registry.answers.unlike import unlike
from registry.answers.wording import counted, dated, figure, in_words, natural, rounded
from registry.models import Rig
from registry.models.lookup import find_pump_model
from registry.statistics.differences import fit
from registry.statistics.swap import CELLS, Share, split

_WITHOUT_RIG = [name for name in PLACE if name != "rig"]
_SETTING = [*_WITHOUT_RIG, "rest"]
_KEYS = [*_SETTING, "metric", "metric_unit"]


def answer_swap(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    old: str,
    new: str,
    part: str,
    *,
    old_part: str | None = None,
    new_part: str | None = None,
    mode: str | None = None,
    level: str | int | None = None,
    programme: str | None = None,
    power: str | None = None,
    elevation: str | None = None,
    metric: str | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
) -> dict[str, Any]:
    """Return the `part-swaps` document: `part` and `base` add up to `total`.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    `part` is a part of the rig. Which of its values belongs to which build is told by `old_part` and
    `new_part`, else by what each build was measured with most (`parts.find_parts`). The rest of the rig, the
    setting, side, power and band of elevation have to be alike. Each interval is by itself
    at 95 %. Where one of the four combinations was not measured, `missing` says which run to record.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = find_pump_model(model)
    number, moment = chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    named = chosen_part(part)
    asked = narrowed(
        number, mode=mode, level=level, programme=programme, power=power, elevation=elevation, metric=metric
    )
    sides = compared_sides(pump_model, old, new, asked, moment)
    frames = [frame_of(side.blocks) for side in sides]
    rigs = {
        rig.pk: rig
        for rig in Rig.objects.filter(pk__in={k for f in frames for k in f["rig"].unique().tolist()})
    }
    values = {key: value_of(rig, named) for key, rig in rigs.items()}
    parts = find_parts(frames[0], frames[1], values, named, (old_part, new_part))
    rests = {key: rest_of(rig, named) for key, rig in rigs.items()}
    cells = _celled(frames, parts, values, rests)
    names = (sides[0].name, sides[1].name)
    settings = sorted(_settings(cells), key=setting_order)
    missing = _missing(cells, parts, names)
    return {
        "model": pump_model.name,
        "old": names[0],
        "new": names[1],
        "part": named,
        "old_part": parts.old,
        "new_part": parts.new,
        "settings": settings,
        "missing": missing,
        **stamped,
        "says": dated(
            _says(pump_model.name, names, parts, settings, missing, has_all=_has_all(cells)), moment
        ),
        "cautions": [
            *unlike(sides[0].blocks, sides[1].blocks, names),
            *cautions.SWAPS,
            *cautions.again(moment),
        ],
    }


def _celled(
    frames: list[pd.DataFrame], parts: Parts, values: Mapping[int, str], rests: Mapping[int, str]
) -> pd.DataFrame:
    """Both sides' summaries in one table with their cell (`swap.CELLS`) and the rest of their rig."""
    kept = []
    for base, frame in enumerate(frames):
        of_part = frame["rig"].map(values).map({parts.old: 0, parts.new: 1})
        there = frame[of_part.notna()]
        kept.append(
            there.assign(cell=2 * base + of_part[of_part.notna()].astype(int), rest=there["rig"].map(rests))
        )
    return pd.concat(kept, ignore_index=True)


def _settings(cells: pd.DataFrame) -> Iterator[dict[str, Any]]:
    for key, rows in cells.groupby(_KEYS, sort=False, observed=True):
        if rows["cell"].nunique() < len(CELLS):
            continue
        of = dict(zip(_KEYS, key, strict=True))
        shown: dict[str, Any] = {name: of[name] for name in (*_WITHOUT_RIG, "metric")}
        units = rows.groupby("cell")["unit"].nunique()
        shown |= {
            "rig": of["rest"],
            "unit": of["metric_unit"],
            "units": [int(units[cell]) for cell in range(4)],
        }
        fitted = fit(readings_of(rows))
        if fitted is None:
            continue
        found = split(fitted)
        yield {
            **shown,
            "old_value": figure(found.old),
            **{
                name: _share(getattr(found, name))
                for name in ("total", "part", "base", "interaction", "part_on_old", "part_on_new")
            },
            "set_aside": len(fitted.wild),
        }


def _has_all(cells: pd.DataFrame) -> bool:
    """Whether all four combinations were measured at any setting, by however few units."""
    return bool((cells.groupby(_KEYS, observed=True)["cell"].nunique() == len(CELLS)).any())


def _share(share: Share) -> dict[str, float | None]:
    percents = {"percent": share.share, "percent_low": share.share_low, "percent_high": share.share_high}
    return {
        "value": figure(share.value),
        "low": figure(share.low),
        "high": figure(share.high),
        **{name: figure(None if value is None else 100 * value) for name, value in percents.items()},
    }


def _missing(cells: pd.DataFrame, parts: Parts, names: tuple[str, str]) -> list[dict[str, Any]]:
    """Combinations without a run, at every setting at which any of the four has one."""
    if parts.old is None or parts.new is None:
        return []
    found = []
    for key, rows in cells.groupby(_SETTING, sort=False, observed=True):
        of = dict(zip(_SETTING, key, strict=True))
        present = set(rows["cell"].tolist())
        for cell, (base, which) in enumerate(CELLS):
            if cell not in present:
                value = (parts.old, parts.new)[which]
                shown = {name: of[name] for name in _WITHOUT_RIG}
                says = f"Record {names[base]} with {parts.part} {value} at {_where(of)}"
                found.append(
                    {**shown, "rig": of["rest"], "base": names[base], "part": value, "says": f"{says}."}
                )
    return sorted(found, key=_missing_order)


def _where(of: Mapping[str, Any]) -> str:
    side = "" if of["side"] == "single" else f", {of['side']} side"
    power = f" on {of['power']}" if of["power"] else ""
    band = f" {of['elevation']}" if of["elevation"] else ""
    return f"{told_setting(of)}{side}{power}{band}, the rest of the rig as {of['rest']}"


def _missing_order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    place = (order_of_mode(row["mode"]), natural(row["programme"]), natural(row["level"]))
    return (*place, *order_around(row), row["base"], row["part"])


def _says(
    model: str,
    names: tuple[str, str],
    parts: Parts,
    settings: list[dict[str, Any]],
    missing: list[dict[str, Any]],
    *,
    has_all: bool,
) -> str:
    about = f"{model}, {names[1]} against {names[0]}"
    if parts.new is None or parts.old is None:
        own = f"with {parts.part} {parts.old}" if parts.old else f"with a {parts.part} named"
        return f"{about}: nothing was measured both {own} and with another; swap it and record."
    swapped = f"{parts.part} {parts.old} to {parts.new}"
    if not settings and has_all:
        return (
            f"{about}, {swapped}: all four combinations were measured, but by too few units to split "
            "anything; record at least one more unit of each with both."
        )
    if not settings:
        first = f" {missing[0]['says']}" if missing else ""
        return f"{about}, {swapped}: not all four combinations were measured at any setting.{first}"
    lacking = {(row["mode"], row["programme"], row["level"]) for row in missing}
    more = f" {counted(len(lacking), 'setting')} cannot be split yet; see what is missing." if lacking else ""
    return f"{about}, {swapped}: {_largest(settings, parts.part)}.{more}"


def _largest(settings: list[dict[str, Any]], part: str) -> str:
    """The split of the setting with the largest difference against what matters."""
    margins = Margins()

    def size(row: Mapping[str, Any]) -> float:
        margin = margins.of(row["metric"], row["unit"])
        by = margin.at(row["old_value"]) if margin else abs(row["old_value"])
        return float(abs(row["total"]["value"]) / (by or 1.0))

    row = max(settings, key=size)
    doubt = (row["total"]["high"] - row["total"]["low"]) / 4
    total, of_part, of_base = (rounded(row[name]["value"], doubt) for name in ("total", "part", "base"))
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    where = f"{in_words(row['metric'])} at {told_setting(row)}"
    return (
        f"{where} differs by {total}{unit}, {of_part} of it by the {in_words(part)} and {of_base} by the base"
    )
