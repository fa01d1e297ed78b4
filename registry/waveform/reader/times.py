"""Which column holds the times."""

import re
from collections.abc import Sequence

from registry.waveform.types import Declared, ReadError, Side

from .headings import VACUUM, Headings, column_called
from .sides import side_of
from .words import time_unit

_TIME = re.compile(
    r"(?:^|[^a-z])(?:time|zeit|uhrzeit|elapsed|timestamp|datetime|seconds?|secs?|millis|temps|tiempo|tempo|clock|t|ms)"
    r"(?:$|[^a-z])"
)
_COUNT = re.compile(
    r"^(?:#|n|i|no\.?|nr\.?|num|number|idx|index|samples?|sample (?:no\.?|number|index)|count|counter"
    r"|record|scan|point|row|messpunkt|lfd\.? ?nr\.?)$"
)


def counts(label: str) -> bool:
    """Whether a heading names sample numbers."""
    return bool(_COUNT.match(label.casefold().replace("_", " ")))


def time_column(
    headings: Headings, vacuum: int, others: Sequence[int], declared: Declared, usual: Declared
) -> tuple[int | None, str]:
    """(position, kind) of the times of one vacuum column; `others` are all columns that may be vacuum.

    The kind is 'clock', 'number' (in a unit of time), 'count' (sample numbers) or 'none'.
    """
    if declared.time_column is not None:
        index = column_called(declared.time_column, headings)
        return _as_named(index, headings, declared, taken=index == vacuum)
    found = [index for index in times_of(headings) if index != vacuum]
    if usual.time_column is not None and found:
        same = [index for index in headings.found(usual.time_column) if index in found]
        if len(same) == 1:
            return _as_named(same[0], headings, declared)
    if found:
        chosen = _own_time(found, headings, vacuum, others)
        return chosen, "clock" if headings.kinds[chosen] == "clock" else "number"
    numbers = [index for index, kind in enumerate(headings.kinds) if kind == "number"]
    for index in numbers:
        if len(numbers) > 1 and index != vacuum and counts(headings.labels[index]):
            return index, "count" if declared.time_unit is None else "number"
    if not headings.named and len(numbers) > 1 and numbers[0] != vacuum:
        return numbers[0], "number"
    return None, "none"


def times_of(headings: Headings) -> list[int]:
    """Columns of clock times, else columns of numbers that are headed as times; none in a bare table."""
    clocks = [index for index, kind in enumerate(headings.kinds) if kind == "clock"]
    if clocks:
        return clocks
    return [
        index for index, kind in enumerate(headings.kinds) if kind == "number" and _is_time(headings, index)
    ]


def _is_time(headings: Headings, index: int) -> bool:
    unit = headings.units[index]
    if time_unit(unit):
        return True
    label = headings.labels[index].casefold()
    return not unit and bool(_TIME.search(label)) and not VACUUM.search(label)


def _own_time(found: list[int], headings: Headings, vacuum: int, others: Sequence[int]) -> int:
    """The first time column, save that each side may have its own: by its heading, else by its place."""
    if len(found) == 1:
        return found[0]
    side: Side | None = side_of(headings.labels[vacuum])
    same = [index for index in found if side is not None and side_of(headings.labels[index]) == side]
    if same:
        return same[0]
    if any(min(others) < index < max(others) for index in found):
        before = [index for index in found if index < vacuum]
        return before[-1] if before else found[0]
    return found[0]


def _as_named(index: int, headings: Headings, declared: Declared, *, taken: bool = False) -> tuple[int, str]:
    kind = headings.kinds[index]
    if kind == "clock" and not taken:
        return index, kind
    if kind != "number" or taken:
        raise ReadError(
            "column_unknown",
            f"The column {headings.names[index]!r} holds no times.",
            headings.line,
            "Declare the column that holds the times, by its heading or its number from 1.",
        )
    return index, "count" if counts(headings.labels[index]) and declared.time_unit is None else "number"
