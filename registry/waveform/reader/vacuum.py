"""Which column holds the vacuum, and on which side of the pump it was measured."""

import re
from dataclasses import dataclass

from registry.waveform.types import AS_USUAL, Declared, ReadError, Side
from registry.waveform.units import unit_named

from .headings import VACUUM, Headings, column_called
from .sides import side_of, sides_of
from .times import counts, times_of
from .words import time_unit

_ROOM = re.compile(r"ambient|ambiant|baro|atmos|luftdruck|umgebung|room|altitude")
_OTHER = re.compile(r"temp|humid|batt|volt|current|flow|alt|speed|marker|event|status|weight|rpm")
_WHICH = "Declare the column that holds the vacuum, by its heading or its number from 1."


@dataclass(frozen=True)
class Candidate:
    """A column that may be vacuum: how much speaks for it, and the side its heading names."""

    index: int
    score: int
    side: Side | None


@dataclass(frozen=True)
class Chosen:
    """The column taken, its side, how it was found, and whether the usual column was missed."""

    index: int
    side: Side
    basis: str
    unlike: bool = False


def candidates(headings: Headings) -> list[Candidate]:
    """Columns that may be vacuum, in order. Others that are named or measured for another thing are not."""
    times = times_of(headings)
    if not headings.named:
        numbers = [index for index, kind in enumerate(headings.kinds) if kind == "number"]
        times = times or (numbers[:1] if len(numbers) > 1 else [])
    fit = [index for index in range(len(headings.kinds)) if index not in times and _may_be(headings, index)]
    sides = sides_of([headings.labels[index] for index in fit])
    found = [
        Candidate(index, _score(headings, index, side), side) for index, side in zip(fit, sides, strict=True)
    ]
    return [candidate for candidate in found if candidate.score > 0]


def _may_be(headings: Headings, index: int) -> bool:
    if headings.kinds[index] not in {"number", "gap"}:
        return False
    label, unit = headings.labels[index].casefold(), headings.units[index]
    if _ROOM.search(label) or counts(label) or time_unit(unit):
        return False
    return unit_named(unit) is not None or not _OTHER.search(label)


def _score(headings: Headings, index: int, side: Side | None) -> int:
    """2 for a name of vacuum or of a side, 3 for a unit of pressure, 1 for numbers; 0 with a foreign unit."""
    unit = headings.units[index]
    named = side is not None or bool(VACUUM.search(headings.labels[index].casefold()))
    measured = unit_named(unit) is not None
    if unit and not measured and not named:
        return 0
    return 2 * named + 3 * measured + (headings.kinds[index] == "number")


def has_sides(found: list[Candidate]) -> bool:
    """Whether the file tells a left from a right column."""
    return {"left", "right"} <= {candidate.side for candidate in found}


def vacuum_column(headings: Headings, found: list[Candidate], declared: Declared, usual: Declared) -> Chosen:
    """The vacuum column that is meant.

    ReadError: no_vacuum_column, ambiguous_columns, column_unknown, side_needed, side_disagrees.
    """
    if declared.vacuum_column is not None:
        return _declared(headings, found, declared)
    if not found:
        raise ReadError(
            "no_vacuum_column",
            "No column of vacuum was found.",
            headings.line,
            "Name the column with its unit, for instance Vacuum (mmHg), or declare which column it is.",
        )
    wanted = declared.side if declared.side in {"left", "right"} else None
    fit = [one for one in found if wanted is None or one.side in {None, wanted}]
    if not fit:
        raise _side_disagrees(headings.names[found[0].index], str(wanted), headings)
    kept = headings.found(usual.vacuum_column) if usual.vacuum_column is not None else []
    same = [candidate for candidate in fit if candidate.index in kept]
    if len(same) == 1 and (wanted is None or not has_sides(found)):
        return Chosen(same[0].index, _side(same[0].side, declared), AS_USUAL)
    if has_sides(found):
        if wanted is None:
            raise _side_needed(headings, found)
        chosen = _best([one for one in fit if one.side == wanted], headings)
        return Chosen(chosen.index, _side(chosen.side, declared), "side")
    chosen = _best(fit, headings)
    basis = "header" if headings.named else "only one"
    return Chosen(chosen.index, _side(chosen.side, declared), basis, usual.vacuum_column is not None)


def _declared(headings: Headings, found: list[Candidate], declared: Declared) -> Chosen:
    index = column_called(str(declared.vacuum_column), headings)
    if headings.kinds[index] not in {"number", "gap"}:
        raise ReadError(
            "column_unknown",
            f"The column {headings.names[index]!r} holds no numbers.",
            headings.line,
            _WHICH,
        )
    if index in times_of(headings):
        raise ReadError(
            "column_unknown", f"The column {headings.names[index]!r} holds the times.", headings.line, _WHICH
        )
    told = [candidate.side for candidate in found if candidate.index == index]
    side = told[0] if told else side_of(headings.labels[index])
    if side is not None and declared.side in {"left", "right"} and declared.side != side:
        raise _side_disagrees(headings.names[index], str(declared.side), headings)
    return Chosen(index, _side(side, declared), "declared")


def _best(found: list[Candidate], headings: Headings) -> Candidate:
    most = max(candidate.score for candidate in found)
    best = [candidate for candidate in found if candidate.score == most]
    if len(best) > 1:
        names = [headings.names[candidate.index] for candidate in best]
        raise ReadError(
            "ambiguous_columns",
            f"Several columns could be the vacuum: {', '.join(names)}."[:400],
            headings.line,
            "Declare vacuum_column: the heading of the column, or its number from 1.",
        )
    return best[0]


def _side(told: Side | None, declared: Declared) -> Side:
    if told is not None:
        return told
    return declared.side if declared.side in {"left", "right"} else "single"  # type: ignore[return-value]


def _side_needed(headings: Headings, found: list[Candidate]) -> ReadError:
    left, right = (
        ", ".join(headings.names[one.index] for one in found if one.side == side)
        for side in ("left", "right")
    )
    return ReadError(
        "side_needed",
        f"The file holds both sides of a pump: {left} (left) and {right} (right)."[:400],
        headings.line,
        "Say which side is meant, left or right; each side is a run of its own.",
    )


def _side_disagrees(name: str, side: str, headings: Headings) -> ReadError:
    return ReadError(
        "side_disagrees",
        f"The side is declared as {side}, but the column {name!r} names the other side."[:400],
        headings.line,
        "Declare the side that the heading names, or correct the heading.",
    )
