"""What a likeness says first, in one line of plain words."""

from collections.abc import Mapping, Sequence
from typing import Any

from registry.answers.comparing.telling import told_setting
from registry.answers.matching.ahead import ALIKE
from registry.answers.matching.alike import mostly_with, told_parts
from registry.answers.matching.doubts import BEYOND, UNTOLD, WITHIN
from registry.answers.places import build_of
from registry.answers.wording import in_a_hundred, in_words

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
    worst = max(row["metrics"], key=lambda metric: abs(row["metrics"][metric]["in_margins"]))
    by = row["metrics"][worst]["difference"]
    off = f"{in_words(worst)} {'higher' if by > 0 else 'lower'} by {abs(by):.3g} {ALIKE[worst]}"
    return f"{row['distance']:.1f} margins away ({off})"


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
    apart = {metric: row["metrics"][metric]["difference"] for metric in ALIKE}
    return ", ".join(
        f"{in_words(metric)} {by:+.{0 if abs(by) >= 10 else 1}f} {ALIKE[metric]}"
        for metric, by in apart.items()
    )
