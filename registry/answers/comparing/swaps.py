"""A difference between two builds split between a part that can be swapped and the base that bears it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Unpack

from registry.answers import cautions
from registry.answers.comparing.instead import what_there_is
from registry.answers.comparing.parts import Parts, called, chosen_part, find_parts, value_of
from registry.answers.comparing.seen import Seen, measured_at, united
from registry.answers.comparing.sides import find_sides
from registry.answers.comparing.spreads import Scattered, of_scatter
from registry.answers.comparing.swapped import Cells, Key, Swap, Swapped, Told
from registry.answers.comparing.swaps_kept import swapped_of
from registry.answers.comparing.telling import told_setting
from registry.answers.comparing.unlike import of_builds, unlike
from registry.answers.ground import NO_GROUND, Ground
from registry.answers.narrowing import Filters, Margins, narrowed
from registry.answers.setting import AT, PLACE, order_around, order_of_mode, setting_order
from registry.answers.stamp import chosen_moment, stamp
from registry.answers.wording import counted, dated, in_words, natural, rounded_within
from registry.statistics.swap import CELLS

# Why nothing can be split though all four combinations were measured, of two lone units and otherwise.
_SHORT_OF = {
    False: "by too few units to split anything; record at least one more unit of each with both",
    True: "two units alone do not show what is chance; ask of their builds, or of one unit and a build",
}


def answer_swap(  # noqa: PLR0913 - one parameter a filter of the question
    model: str,
    old: str,
    new: str,
    part: str,
    *,
    old_part: str | None = None,
    new_part: str | None = None,
    edition: int | None = None,
    as_of: datetime | None = None,
    ground: Ground = NO_GROUND,
    **filters: Unpack[Filters],
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
    asked = narrowed(number, **filters)
    sides = find_sides(pump_model, old, new).located()
    swapped = swapped_of(sides, asked, moment)
    before, after = swapped.sides
    instead = "" if any(swapped.sides) or moment else what_there_is(sides, asked)
    parts = Parts(named, None, None) if instead else _parts_of(swapped, named, (old_part, new_part))
    names = sides.names
    cells, fitted = _split(swapped, parts)
    settings = sorted((_row(one) for one in fitted), key=setting_order)
    missing = _missing(cells, parts, names)
    if parts.old is None or parts.new is None:
        says = _says_unswapped(pump_model.name, names, parts, (before, after), instead)
    else:
        lone = sides.old.serial is not None and sides.new.serial is not None
        whole = _SHORT_OF[lone] if any(all(four) for four in cells.values()) else None
        says = _says(pump_model.name, names, parts, settings, missing, whole)
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
        "says": dated(says, moment),
        "cautions": [
            *of_builds(sides, moment),
            *unlike(measured_at(before), measured_at(after), names),
            *of_scatter([one.scattered for one in fitted], names),
            *cautions.SWAPS,
            *cautions.again(moment),
        ],
    }


def _parts_of(swapped: Swapped, part: str, given: tuple[str | None, str | None]) -> Parts:
    """Whose value of the part is whose, of what was measured with. Raises as `find_parts`."""
    rigs = {one.setting.rig for side in swapped.sides for one in side}
    values = {key: value_of(swapped.rigs[key], part) for key in rigs}
    return find_parts(*swapped.sides, values, part, given)


@dataclass(frozen=True)
class _Fitted:
    """All four combinations at one setting, and how they split."""

    key: Key
    cells: Cells[Seen]
    told: Told

    @property
    def scattered(self) -> Scattered:
        """How units of both bases scatter."""
        old, new = (united(one.units for one in base) for base in self._bases)
        return Scattered(self.told.unlike, self.told.between, (old.bit_count(), new.bit_count()))

    @property
    def _bases(self) -> tuple[list[Seen], list[Seen]]:
        return self.cells[0] + self.cells[1], self.cells[2] + self.cells[3]


def _split(swapped: Swapped, parts: Parts) -> tuple[Mapping[Key, Cells[Seen]], list[_Fitted]]:
    """What was measured of the four combinations, and every setting at which enough was to tell."""
    if parts.old is None or parts.new is None:
        return {}, []
    swap = Swap(parts.part, parts.old, parts.new)
    cells, told = swapped.cells(swap), swapped.told(swap)
    return cells, [_Fitted(key, four, told[key]) for key, four in cells.items() if key in told]


def _row(one: _Fitted) -> dict[str, Any]:
    return {
        **one.key.setting._asdict(),
        "rig": one.key.rest,
        "units": [united(seen.units for seen in cell).bit_count() for cell in one.cells],
        "old_value": one.told.figures[0],
        **one.told.shares(),
        "set_aside": one.told.aside,
    }


def _missing(cells: Mapping[Key, Cells[Seen]], parts: Parts, names: tuple[str, str]) -> list[dict[str, Any]]:
    """Combinations without a run, at every setting at which any of the four has one."""
    if parts.old is None or parts.new is None:
        return []
    present: dict[tuple[Any, ...], set[int]] = {}
    for (setting, rest), four in cells.items():
        there = {cell for cell, seen in enumerate(four) if seen}
        present.setdefault((setting.place, rest), set()).update(there)
    found = []
    for (place, rest), there in present.items():
        shown = {**dict(zip(PLACE, place, strict=True)), "rig": rest}
        for cell, (base, which) in enumerate(CELLS):
            if cell not in there:
                value = (parts.old, parts.new)[which]
                says = f"Record {names[base]} with {called(parts.part)} {value} at {_where(shown)}."
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
    whole: str | None,
) -> str:
    """The largest split, or why there is none; `whole` is why though all four combinations are there."""
    about, part = f"{model}, {names[1]} against {names[0]}", called(parts.part)
    swapped = f"{part} {parts.old} to {parts.new}"
    if not settings and whole:
        return f"{about}, {swapped}: all four combinations were measured, but {whole}."
    if not settings:
        first = f" {_soonest(missing)['says']}" if missing else ""
        return f"{about}, {swapped}: not all four combinations were measured at any setting.{first}"
    lacking = {(row["mode"], row["programme"], row["level"]) for row in missing}
    more = f" {counted(len(lacking), 'setting')} cannot be split yet; see what is missing." if lacking else ""
    return f"{about}, {swapped}: {_largest(settings, part)}.{more}"


def _soonest(missing: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """The first run of a setting that lacks the fewest."""

    def place(row: Mapping[str, Any]) -> tuple[Any, ...]:
        return tuple(row[name] for name in PLACE)

    lacking = Counter(map(place, missing))
    return min(missing, key=lambda row: lacking[place(row)])


def _says_unswapped(
    model: str,
    names: tuple[str, str],
    parts: Parts,
    sides: tuple[Sequence[Seen], Sequence[Seen]],
    instead: str,
) -> str:
    """What to record where the part was never another one, or nobody named it.

    `instead` is what there is where nothing has a word of the question.
    """
    about, part = f"{model}, {names[1]} against {names[0]}", called(parts.part)
    at = _most_measured(sides)
    if at is None:
        why = f"; {instead}" if instead else ""
        return f"{about}: nothing was measured of what is asked for{why}."
    both = f"{names[0]} and {names[1]}, both at {told_setting(at)} and with the rest of the rig alike"
    if parts.old is None:
        return f"{about}: no run of {names[0]} names the {part}. Record two of them, each with {both}."
    unlike = f"another {part} than {parts.old}"
    return f"{about}: nothing was measured with {unlike}. Record each {part} with {both}."


def _most_measured(sides: tuple[Sequence[Seen], Sequence[Seen]]) -> dict[str, str] | None:
    """The setting at which the base that has fewer units there has the most; None where there is none."""
    units: dict[tuple[Any, ...], list[int]] = {}
    for base, side in enumerate(sides):
        for seen in side:
            of = units.setdefault(seen.setting.at, [0, 0])
            of[base] |= seen.units
    counts = {at: sorted(one.bit_count() for one in of) for at, of in units.items()}
    best = min(counts, key=lambda at: (*(-count for count in counts[at]), at), default=None)
    return None if best is None else dict(zip(AT, best, strict=True))


def _largest(settings: list[dict[str, Any]], part: str) -> str:
    """The split of the setting with the largest difference against what matters."""
    margins = Margins()

    def size(row: Mapping[str, Any]) -> float:
        margin = margins.of(row["metric"], row["unit"])
        by = margin.at(row["old_value"]) if margin else abs(row["old_value"])
        return float(abs(row["total"]["value"]) / (by or 1.0))

    row = max(settings, key=size)
    shares = [row[name] for name in ("total", "part", "base")]
    # All to one place, that of the least known, so that they add up.
    ends = max(((of["low"], of["high"]) for of in shares), key=lambda of: of[1] - of[0])
    total, of_part, of_base = (rounded_within(of["value"], *ends) for of in shares)
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    where = f"{in_words(row['metric'])} at {told_setting(row)}"
    return f"{where} differs by {total}{unit}, {of_part} of it by the {part} and {of_base} by the base"
