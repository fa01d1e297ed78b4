"""What a likeness says first, in one line of plain words."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.answers.comparing.telling import told_setting
from registry.answers.matching.ahead import ALIKE
from registry.answers.matching.alike import mostly_with, told_parts
from registry.answers.matching.doubts import BEYOND, UNTOLD, WITHIN
from registry.answers.places import build_of
from registry.answers.wording import in_a_hundred, in_words, rounded_within

Row = Mapping[str, Any]


def told_nothing(about: str, instead: str) -> str:
    """Where nothing was measured like the old setting; `instead` is what there is."""
    alike = "mode, side, flange, load, power, elevation, and within a build the whole rig"
    why = f"; {instead}" if instead else ""
    return f"{about}: nothing else was measured alike ({alike}) to hold against it{why}."


def told_likeness(about: str, old: str, units: int, rows: Sequence[Row], *, with_model: bool) -> str:
    """Which setting is the nearest, or may be, and how far it lies.

    `rows` are those of the document, one at least, the nearest first; `about` is the old setting in words,
    `old` the label of its revision and `units` how many of it were measured there. It goes
    by builds that are known, each with the parts it was mostly measured with: a build that another one's part
    was put into is no pump that a person has.
    """
    known = mostly_with([row for row in rows if row["revision"] is not None])
    if not known:
        return f"{about}: only units of no known build were measured alike to hold against it."
    best = next((row for row in known if row["within"] == WITHIN), known[0])
    nearest = _named(best, with_model=with_model)
    if best["within"] == WITHIN:
        return f"{about}: nearest is {nearest}, within what matters ({_apart(best)})."
    if all(row["within"] == BEYOND for row in known):
        return f"{about}: none within margins; nearest is {nearest}, {_off(best)}."
    open_ = next(row for row in known if row["within"] == UNTOLD)
    where = _named(open_, with_model=with_model)
    first = f"{about}: whether {where} is within what matters cannot be told yet; it is {_off(open_)}"
    place = f"{build_of(open_, with_model=with_model)} at {told_setting(open_)}"
    return f"{first}{_odds(open_)}. {_to_record(old, units, open_, place)}"


def _named(row: Row, *, with_model: bool) -> str:
    """A setting with the parts it was measured with, where these are others than those of the old one."""
    parts = told_parts(row)
    with_parts = f" ({parts})" if parts else ""
    return f"{build_of(row, with_model=with_model)} at {told_setting(row)}{with_parts}"


def _off(row: Row) -> str:
    """How far off in the metric that is furthest: "2.2 margins away (peak vacuum lower by 22 mmHg)"."""
    worst, of = max(row["metrics"].items(), key=lambda metric: abs(metric[1]["in_margins"]))
    by = _difference(of).removeprefix("-")
    change = f"{'higher' if of['difference'] > 0 else 'lower'} by {by} {ALIKE[worst]}"
    margin = of["difference"] / of["in_margins"] if of["in_margins"] else 1.0
    away = _difference(of, margin).removeprefix("-")
    margins = "1 margin" if away == "1" else f"{away} margins"
    return f"{margins} away ({in_words(worst)} {change if float(by) else 'about the same'})"


def _difference(of: Row, in_units_of: float = 1.0) -> str:
    """The difference of one metric to the place that its interval supports."""
    low, high = (
        None if end is None else end / in_units_of for end in (of["difference_low"], of["difference_high"])
    )
    return rounded_within(of["difference"] / in_units_of, low, high, digits=2)


def _odds(row: Row) -> str:
    chance = row["probability"]
    return "" if chance is None else f", and within them with a chance of {in_a_hundred(chance, 'about ')}"


def _to_record(old: str, units: int, row: Row, where: str) -> str:
    """What to record so that it can be told."""
    if row["missing"]:
        return f"Record {row['missing']} of {where}."
    if units < row["units"]:
        return f"Record more units of revision {old} at the old setting, beside the new with one gauge."
    return f"Record more units of {where}, beside the old setting with one gauge."


def _apart(row: Row) -> str:
    """How far a setting is from the wanted one: "cycle rate -1.5 cycles/min, peak vacuum +12 mmHg"."""
    apart = {metric: _difference(row["metrics"][metric]) for metric in ALIKE}
    return ", ".join(
        f"{in_words(metric)} {'+' if float(by) > 0 else ''}{by} {ALIKE[metric]}"
        for metric, by in apart.items()
    )
