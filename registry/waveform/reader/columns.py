"""Which column is time, which is vacuum, on which side, and in what units."""

from dataclasses import dataclass, replace

from registry.waveform.types import Channel, Declared, ReadError, Side

from .headings import Headings, headings_of
from .layout import Layout
from .preamble import started_in
from .said import rate_of, unit_of_time, vacuum_unit
from .times import time_column
from .vacuum import Candidate, Chosen, candidates, has_sides, vacuum_column

SIDES: tuple[Side, ...] = ("single", "left", "right")


@dataclass(frozen=True)
class Columns:
    """Positions (None for no time column), what the time column holds, headings and units as words.

    `unlike` lists in what the file is unlike the usual one of its gauge.
    """

    time: int | None
    time_kind: str
    time_name: str | None
    time_unit: str | None
    time_unit_basis: str
    vacuum: int
    vacuum_name: str
    vacuum_basis: str
    vacuum_unit: str
    unit_basis: str
    side: Side
    rate_hz: float | None
    rate_basis: str
    started: str | None
    unlike: tuple[str, ...] = ()


def choose(layout: Layout, declared: Declared, usual: Declared) -> Columns:
    """Assign the columns.

    ReadError: no_vacuum_column, ambiguous_columns, column_unknown, side_needed, side_disagrees, unit_unknown,
    units_disagree, rate_unknown, rates_disagree.
    """
    if declared.side is not None and declared.side not in SIDES:
        raise ReadError(
            "side_disagrees",
            f"There is no side {declared.side!r}."[:400],
            hint="Declare single, left or right.",
        )
    headings = headings_of(layout)
    found = candidates(headings)
    vacuum = vacuum_column(headings, found, declared, usual)
    return _assigned(layout, headings, found, vacuum, declared, usual)


def _assigned(
    layout: Layout,
    headings: Headings,
    found: list[Candidate],
    vacuum: Chosen,
    declared: Declared,
    usual: Declared,
) -> Columns:
    """The columns around a vacuum column that is settled."""
    others = [candidate.index for candidate in found] or [vacuum.index]
    time, kind = time_column(headings, vacuum.index, others, declared, usual)
    # A unit that is kept belongs to the column it is kept for.
    kept = replace(usual, unit=None) if vacuum.unlike else usual
    unit, basis, other_unit = vacuum_unit(vacuum.index, layout, headings, declared, kept)
    time_unit, time_basis, other_time = unit_of_time(time, kind, headings, declared, usual)
    rate, rate_basis, other_rate = rate_of(kind, layout, declared, usual)
    name = headings.names[vacuum.index]
    if headings.names.count(name) > 1:
        name = f"column {vacuum.index + 1}"  # a heading that tells nothing apart names no column
    # Findings are shown to everybody, so headings stay out of them: they may name people.
    other_column = "the vacuum is in a column that is not the usual one" if vacuum.unlike else ""
    return Columns(
        time=time,
        time_kind=kind,
        time_name=headings.names[time] if headings.named and time is not None else None,
        time_unit=time_unit,
        time_unit_basis=time_basis,
        vacuum=vacuum.index,
        vacuum_name=name,
        vacuum_basis=vacuum.basis,
        vacuum_unit=unit,
        unit_basis=basis,
        side=vacuum.side,
        rate_hz=rate,
        rate_basis=rate_basis,
        started=started_in(layout.preamble),
        unlike=tuple(word for word in (other_column, other_unit, other_time, other_rate) if word),
    )


def sides_in(layout: Layout, declared: Declared) -> tuple[Side, ...]:
    """('left', 'right') for a file that tells both sides and of which no column is declared, else ()."""
    if declared.vacuum_column is not None or not has_sides(candidates(headings_of(layout))):
        return ()
    return ("left", "right")


def channels(layout: Layout, declared: Declared, usual: Declared) -> tuple[Channel, ...]:
    """The vacuum columns a file can be measured by: both sides, or the one that `choose` takes."""
    wanted = [replace(declared, side=side) for side in sides_in(layout, declared)] or [declared]
    found = [choose(layout, one, usual) for one in wanted]
    return tuple(Channel(columns.side, columns.vacuum_name, columns.vacuum_unit) for columns in found)
