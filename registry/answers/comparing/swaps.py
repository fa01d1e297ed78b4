"""A difference between two builds split between a part that can be swapped and the base that bears it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from registry.answers import cautions
from registry.answers.blocks import Block, distinct
from registry.answers.comparing.comparisons import setting_order
from registry.answers.comparing.measured import measured
from registry.answers.comparing.parts import Parts, chosen_part, find_parts, rest_of, value_of
from registry.answers.comparing.side_parts import read_sides
from registry.answers.comparing.sides import find_sides
from registry.answers.comparing.spreads import Scattered, of_scatter
from registry.answers.comparing.telling import told_setting
from registry.answers.comparing.unlike import unlike
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.narrowing import Margins, narrowed
from registry.answers.readings import tables_in
from registry.answers.setting import PLACE, Setting, order_around, order_of_mode
from registry.answers.stamp import chosen_moment, stamp
from registry.answers.wording import counted, dated, figure, in_words, natural, rounded
from registry.models import Rig
from registry.statistics.differences import fits
from registry.statistics.swap import CELLS, Share, Split, splits

# A setting without its rig, and the rig without the part; the blocks of each of the four cells.
_Key = tuple[Setting, str]
_Cells = tuple[list[Block], list[Block], list[Block], list[Block]]


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
    ground: Ground = NO_GROUND,
) -> dict[str, Any]:
    """Return the `part-swaps` document: `part` and `base` add up to `total`.

    `edition` is the current one unless said; with `as_of`, a past time, the answer of then is made again.

    `part` is a part of the rig. Which of its values belongs to which build is told by `old_part` and
    `new_part`, else by what each build was measured with most (`parts.find_parts`). The rest of the rig, the
    setting, side, power and band of elevation have to be alike. Each interval is by itself
    at 95 %. Where one of the four combinations was not measured, `missing` says which run to record.

    Raises UnknownPumpModel, and Invalid on the field at fault.
    """
    pump_model = ground.pump_model(model)
    number, moment = ground.chosen_edition(edition), chosen_moment(as_of)
    stamped = stamp(number, moment)
    named = chosen_part(part)
    asked = narrowed(
        number, mode=mode, level=level, programme=programme, power=power, elevation=elevation, metric=metric
    )
    sides = find_sides(pump_model, old, new)
    before, after, _ = read_sides(sides, asked, moment)
    blocks = before, after
    keys = {block.setting.rig for side in blocks for block in side}
    rigs = {rig.pk: rig for rig in Rig.objects.filter(pk__in=keys)}
    values = {key: value_of(rig, named) for key, rig in rigs.items()}
    parts = find_parts(before, after, values, named, (old_part, new_part))
    rests = {key: rest_of(rig, named) for key, rig in rigs.items()}
    cells = _celled(blocks, parts, values, rests)
    names = sides.names
    fitted = _fitted(cells)
    settings = sorted((_row(one) for one in fitted), key=setting_order)
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
            _says(
                pump_model.name,
                names,
                parts,
                settings,
                missing,
                has_all=any(all(four) for four in cells.values()),
            ),
            moment,
        ),
        "cautions": [
            *unlike(measured(before), measured(after), names),
            *of_scatter([one.scattered for one in fitted], names),
            *cautions.SWAPS,
            *cautions.again(moment),
        ],
    }


def _celled(
    sides: Sequence[Sequence[Block]], parts: Parts, values: Mapping[int, str], rests: Mapping[int, str]
) -> dict[_Key, _Cells]:
    """Both sides' summaries by setting and rest of the rig, each with its cell (`swap.CELLS`)."""
    found: dict[_Key, _Cells] = {}
    which = {parts.old: 0, parts.new: 1}
    for base, blocks in enumerate(sides):
        for block in blocks:
            part = which.get(values[block.setting.rig])
            if part is not None:
                key = block.setting._replace(rig=0), rests[block.setting.rig]
                found.setdefault(key, ([], [], [], []))[2 * base + part].append(block)
    return found


@dataclass(frozen=True)
class _Fitted:
    """All four combinations at one setting, how they split, and how units scatter."""

    setting: Setting
    rest: str
    cells: _Cells
    split: Split
    scattered: Scattered
    aside: int


def _fitted(cells: Mapping[_Key, _Cells]) -> list[_Fitted]:
    """Every setting at which all four cells were measured, and enough of them to tell."""
    whole = [(key, four) for key, four in cells.items() if all(four)]
    tables = tables_in([four for _, four in whole], build=[base for base, _ in CELLS])
    found = []
    for places, together in fits(tables):
        # Cells 0 and 2 stand for the bases.
        between = [together.between_units(cell)[0].tolist() for cell in (0, 2)]
        columns = splits(together), together.spread.unlike.tolist(), *between
        for place, one, unlike_, old, new in zip(places.tolist(), *columns, strict=True):
            (setting, rest), four = whole[place]
            units = [len(distinct(four[at] + four[at + 1], "unit")) for at in (0, 2)]
            scattered = Scattered(unlike_, (old, new), (units[0], units[1]))
            found.append(_Fitted(setting, rest, four, one, scattered, int(together.wild.size)))
    return found


def _row(one: _Fitted) -> dict[str, Any]:
    found = one.split
    names = ("total", "part", "base", "interaction", "part_on_old", "part_on_new")
    return {
        **one.setting._asdict(),
        "rig": one.rest,
        "units": [len(distinct(cell, "unit")) for cell in one.cells],
        "old_value": figure(found.old),
        **{name: _share(getattr(found, name)) for name in names},
        "set_aside": one.aside,
    }


def _share(share: Share) -> dict[str, float | None]:
    percents = {"percent": share.share, "percent_low": share.share_low, "percent_high": share.share_high}
    return {
        "value": figure(share.value),
        "low": figure(share.low),
        "high": figure(share.high),
        **{name: figure(None if value is None else 100 * value) for name, value in percents.items()},
    }


def _missing(cells: Mapping[_Key, _Cells], parts: Parts, names: tuple[str, str]) -> list[dict[str, Any]]:
    """Combinations without a run, at every setting at which any of the four has one."""
    if parts.old is None or parts.new is None:
        return []
    present: dict[tuple[Any, ...], set[int]] = {}
    for (setting, rest), four in cells.items():
        there = {cell for cell, blocks in enumerate(four) if blocks}
        present.setdefault((setting.place, rest), set()).update(there)
    found = []
    for (place, rest), there in present.items():
        shown = {**dict(zip(PLACE, place, strict=True)), "rig": rest}
        for cell, (base, which) in enumerate(CELLS):
            if cell not in there:
                value = (parts.old, parts.new)[which]
                says = f"Record {names[base]} with {parts.part} {value} at {_where(shown)}."
                found.append({**shown, "base": names[base], "part": value, "says": says})
    return sorted(found, key=_missing_order)


def _where(of: Mapping[str, Any]) -> str:
    side = "" if of["side"] == "single" else f", {of['side']} side"
    power = f" on {of['power']}" if of["power"] else ""
    band = f" {of['elevation']}" if of["elevation"] else ""
    return f"{told_setting(of)}{side}{power}{band}, the rest of the rig as {of['rig']}"


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
