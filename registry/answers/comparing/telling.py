"""A comparison in one line of plain words, and what could not be compared."""

from collections import Counter
from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import Any

from registry.answers.comparing.measured import Measured
from registry.answers.setting import AROUND, AT, PLACE
from registry.answers.wording import counted, in_words, natural, rounded_within

# What says it in provenance.
_KEYS = {"power": "power", "elevation": "elevation_m or ambient_kpa"}
_UNLIKE = "never measured alike"
# So many differences are told in the line; the table tells the others.
_TOLD = 2
_VACUUMS = 3
# So many standard uncertainties is an interval wide that holds some twenty differences together at 95 %.
_WIDE = 6.0
# One sound unit in twenty lies further out, in standard deviations between units.
_COMMON = 2.0
# Of a setting, mode, programme and level, and then what else has to be alike.
_PLACE = itemgetter(slice(len(PLACE)))


def says_compared(
    model: str,
    names: tuple[str, str],
    settings: Sequence[Mapping[str, Any]],
    still: Sequence[Mapping[str, Any]],
    left_out: Sequence[Mapping[str, Any]],
    instead: str = "",
) -> str:
    """The verdict, the largest differences, the counts, and the reach, in one line.

    `instead` is what there is where nothing has a word of the question.
    """
    about = f"{model}, {names[1]} against {names[0]}"
    if not settings:
        return f"{about}: no setting was measured alike on both; {_why_none(left_out, instead)}"
    counts = Counter(row["verdict"] for row in settings)
    differing = [row for row in settings if row["verdict"] == "different"]
    if differing:
        verdict = f"different{_by_how_much(differing)}; {_largest(differing)}"
    elif counts["same"] == len(settings):
        verdict = "same within what matters"
    else:
        verdict = f"cannot tell yet; {_more(settings, names)}"
    tally = _tally(counts, len(settings))
    return f"{about}: {verdict}. {tally}{_beside_others(settings)}{_reach(names[1], still)}"


def _why_none(left_out: Sequence[Mapping[str, Any]], instead: str) -> str:
    """Why nothing can be compared: what there is instead, or the reason that all settings have in common."""
    if instead:
        return f"{instead}."
    reasons = {row["why"] for row in left_out}
    if len(reasons) != 1:
        return "nothing can be compared yet."
    reason = reasons.pop()
    told = f"All were {reason}" if reason.startswith(_UNLIKE) else f"{reason[0].upper()}{reason[1:]}"
    return f"nothing can be compared yet. {_ended(told)}"


def _ended(sentence: str) -> str:
    return f"{sentence.removesuffix('.')}."


def _by_how_much(differing: Sequence[Mapping[str, Any]]) -> str:
    """Whether what differs matters, as far as anybody has said how much does."""
    matters = {row["matters"] for row in differing}
    if "yes" in matters:
        return " by more than matters"
    return ", perhaps by less than matters" if "perhaps" in matters else ""


def told_setting(row: Mapping[str, Any]) -> str:
    """Setting in words: "expression soft 3"."""
    return " ".join(filter(None, (row["mode"], row["programme"], row["level"])))


def _largest(rows: Sequence[Mapping[str, Any]]) -> str:
    """What differs most against its margin, or its value where it has none; a metric at a setting once."""

    def size(row: Mapping[str, Any]) -> float:
        by = row["margin"] or abs(row["old"]) or 1.0
        return float(abs(row["difference"]) / by)

    ranked = sorted(rows, key=size, reverse=True)
    # Rigs, power and sides part rows whose words would be the same: the widest apart stands for them.
    once = {(row["metric"], told_setting(row)): row for row in reversed(ranked)}
    unlike = [row for row in ranked if once[row["metric"], told_setting(row)] is row]
    told = ", ".join(_one(row) for row in unlike[:_TOLD])
    more = len(unlike) - _TOLD
    return f"{told}{f' and {more} more' if more > 0 else ''}"


def _one(row: Mapping[str, Any]) -> str:
    values = " to ".join(_rounded(row[name], row["low"], row["high"]) for name in ("old", "new"))
    unit = "" if row["unit"] == "1" else f" {row['unit']}"
    change = "up" if row["difference"] > 0 else "down"
    told = f"{in_words(row['metric'])} at {told_setting(row)} from {values}{unit}"
    if row["percent"] is None:
        return told
    percent = _rounded(abs(row["percent"]), row["percent_low"], row["percent_high"], digits=2)
    return f"{told} ({change} {percent} %)"


def _rounded(value: float, low: float, high: float, digits: int = 3) -> str:
    """A figure of one among several differences, whose intervals are wider so as to hold all together."""
    return rounded_within(value, low, high, wide=_WIDE, digits=digits)


def _tally(counts: Mapping[str, int], all_: int) -> str:
    parts = [
        f"{counts[verdict]} {verdict}"
        for verdict in ("different", "same", "cannot tell yet")
        if counts[verdict]
    ]
    return f"Of {counted(all_, 'value')} compared: {', '.join(parts)}."


def _beside_others(settings: Sequence[Mapping[str, Any]]) -> str:
    """Whether one unit lies further out than sound ones of its build commonly do."""
    spreads = [abs(row["spreads"]) for row in settings if row["spreads"] is not None]
    if not spreads:
        return ""
    far = sum(spread > _COMMON for spread in spreads)
    lies = "None lies" if not far else f"{counted(far, 'value')} {'lies' if far == 1 else 'lie'}"
    return f" {lies} further out than sound units of one build commonly do (twice the spread between units)."


def _more(settings: Sequence[Mapping[str, Any]], names: tuple[str, str]) -> str:
    """How many more units would tell everything that is not told yet."""
    alone = [name for name in names if name.startswith("unit ")]
    if alone:
        return f"record {' and '.join(alone)} again, beside others and with the same gauge"
    needs = [row["needs"] for row in settings if row["verdict"] == "cannot tell yet"]
    if any(need is None for need in needs):
        return "more units alone would not tell every setting soon"
    units, clinics = (max(need[name] for need in needs) for name in ("units", "clinics"))
    at = "1 clinic that measures" if clinics == 1 else f"{clinics} clinics that measure"
    recruited = f"{counted(units, 'more unit')} of each at {at} both"
    if any(need["towards"] is None for need in needs):
        return f"too few units to begin with, measure at least {recruited}"
    return f"{recruited} would probably tell"


def _reach(new: str, still: Sequence[Mapping[str, Any]]) -> str:
    lost = [row for row in still if row["reached"] is False and row["sure"]]
    told_of = {round(row["vacuum"]) for row in lost}
    unsure = [row for row in still if row["reached"] is not None and not row["sure"]]
    # Of two settings at one vacuum in whole mmHg the one that tells something is named.
    open_ = [row for row in unsure if round(row["vacuum"]) not in told_of]
    told = ""
    if lost:
        told = f" At {_vacuums(lost)} {new} no longer reaches 70 cycles/min."
    if open_:
        told += f" Whether {new} still reaches 70 cycles/min at {_vacuums(open_)} cannot be told yet."
    if still and all(row["reached"] and row["sure"] for row in still):
        return f" {new[0].upper()}{new[1:]} still reaches 70 cycles/min at the vacuum it is used at."
    return told


def _vacuums(rows: Sequence[Mapping[str, Any]]) -> str:
    """The vacuums of some settings, each once."""
    values = sorted({round(row["vacuum"]) for row in rows})
    more = f" and {len(values) - _VACUUMS} more" if len(values) > _VACUUMS else ""
    return f"{', '.join(str(value) for value in values[:_VACUUMS])} mmHg{more}"


def left_out_of(
    old: Measured, new: Measured, names: tuple[str, str], labels: Mapping[int, str]
) -> list[dict[str, Any]]:
    """Settings that only one side was measured at, or both but never alike, and why."""
    sides = [_around_at(side) for side in (old, new)]
    found = []
    for at in {**sides[0], **sides[1]}:
        around = [side.get(at, set()) for side in sides]
        if around[0] & around[1]:
            continue
        found.append({**dict(zip(AT, at, strict=True)), "why": _why(around, names, labels)})
    return sorted(found, key=_order)


def _order(row: Mapping[str, Any]) -> tuple[Any, ...]:
    """As people count; what they count alike, as it is written."""
    programme, level = row["programme"], row["level"]
    return row["mode"], natural(programme), natural(level), programme, level


def _around_at(side: Measured) -> dict[tuple[Any, ...], set[tuple[Any, ...]]]:
    """What else was alike at each mode, programme and level."""
    found: dict[tuple[Any, ...], set[tuple[Any, ...]]] = {}
    for place in set(map(_PLACE, side.settings)):
        found.setdefault(place[: len(AT)], set()).add(place[len(AT) :])
    return found


def _why(around: list[set[tuple[Any, ...]]], names: tuple[str, str], labels: Mapping[int, str]) -> str:
    for mine, name in zip(around, names, strict=True):
        if not mine:
            return f"{name} was not measured there"
    differing, first = [], []
    for place, what in enumerate(AROUND):
        values = [{key[place] for key in side} for side in around]
        if not values[0] & values[1]:
            told = [_listed(side, labels if what == "rig" else {}) for side in values]
            differing.append(f"{what} {told[0]} against {told[1]}")
            first += _to_say(what, values, names)
    why = "; ".join(differing) or "side, rig, power and elevation differ together"
    return f"{_UNLIKE}: {why}{'. ' if first else ''}{' '.join(first)}"


def _to_say(what: str, values: list[set[Any]], names: tuple[str, str]) -> list[str]:
    """What to say with the runs of a side that nobody said it of at all."""
    keys = _KEYS.get(what)
    silent = [name for side, name in zip(values, names, strict=True) if side == {""}]
    if keys is None or not silent:
        return []
    return [f"Nobody said it of {silent[0]}: upload those runs again with {keys}, or record new ones."]


def _listed(values: set[Any], labels: Mapping[int, str]) -> str:
    return ", ".join(sorted(labels.get(value, value) or "not said" for value in values))
