"""How a revision behaves at each setting: counts, centre, spread and quantiles."""

from collections.abc import Iterator
from itertools import accumulate
from typing import Any

from rich.console import Console

from client_cli.numbers import fixed, is_number, spread
from client_cli.render.cell import decimals, show_cell, show_uncounted
from client_cli.render.console import cautions, counted, grouped, heading, lines, says, table, thin
from client_cli.render.rigs import PLACE, Rigs, show_shared, title
from client_cli.text import clean

_SPREADS = (
    ("repeat", "s_repeatability"),
    ("unit", "s_unit"),
    ("clinic", "s_clinic"),
    ("anywhere", "s_reproducibility"),
)


# Some six screens; a model with many settings has hundreds of pages.
_MOST_CELLS = 40


def show_distribution(console: Console, document: dict[str, Any], *, every: bool = False) -> None:
    """A table a revision and setting, a row a metric; then more of the cell where one alone is left.

    The first settings, or all with `every`.
    """
    says(console, document)
    cells = document.get("cells") or []
    rigs = Rigs(cells)
    if cells:
        show_shared(console, rigs)
    groups = grouped(cells, ("revision", *PLACE))
    shown = groups if every else groups[: _how_many(groups)]
    for group in shown:
        _show_group(console, group, rigs)
    if len(shown) < len(groups):
        console.print()
        console.print(
            f"{counted(len(groups) - len(shown), 'further setting')} not shown: "
            "ask for a revision, mode, level or metric, or for all with --all."
        )
    if cells:
        console.print()
        console.print(_explained(cells))
    if len(cells) == 1:
        show_cell(console, cells[0], str(document.get("estimator") or ""))
    show_uncounted(console, document.get("left_out") or {})
    cautions(console, document)


def _how_many(groups: list[list[dict[str, Any]]]) -> int:
    """How many settings go with the most cells that are shown; one at least."""
    upto = accumulate(len(group) for group in groups)
    return max(sum(cells <= _MOST_CELLS for cells in upto), 1)


def _explained(cells: list[dict[str, Any]]) -> str:
    has_thin = any(cell.get("state") == "thin" for cell in cells)
    warned = " Thin: too few units or clinics to lean on." if has_thin else ""
    more = "" if len(cells) == 1 else " Ask for one revision, setting, metric and rig to see more of it."
    return (
        "Centre: with its 95 % interval, then where one run of the next unit at the next clinic is to be "
        "expected. Spread, as standard deviations: of repeats of one unit at one clinic, between units, "
        f"between clinics, and of one unit measured anywhere.{warned}{more}"
    )


def _show_group(console: Console, cells: list[dict[str, Any]], rigs: Rigs) -> None:
    heading(console, title(cells[0], rigs, f"Revision {clean(cells[0].get('revision') or 'not known')}"))
    rows = table("Metric", "Counts", "Centre", "Spread", "Unit means")
    for cell in cells:
        rows.add_row(
            lines(clean(cell.get("metric", "")), unit_name(cell.get("unit"))),
            lines(*_counts(cell)),
            lines(*_centre(cell)),
            lines(*(f"{word} {spread(cell.get(key))}" for word, key in _SPREADS)),
            lines(*_quantiles(cell)),
        )
        rows.add_section()
    console.print(rows)


def unit_name(unit: Any) -> str:
    """The unit as people write it; a bare number has none."""
    return "" if unit in (None, "", "1") else clean(unit)


def _counts(cell: dict[str, Any]) -> Iterator[str]:
    yield from (counted(cell.get(f"{noun}s"), noun) for noun in ("run", "unit", "clinic"))
    yield from thin(cell)


def _centre(cell: dict[str, Any]) -> Iterator[str]:
    places = decimals(cell)
    yield fixed(cell.get("centre"), places)
    if is_number(cell.get("low")) and is_number(cell.get("high")):
        yield f"{fixed(cell['low'], places)} to {fixed(cell['high'], places)}"
    else:
        yield "no interval"
    if is_number(cell.get("predict_low")) and is_number(cell.get("predict_high")):
        yield f"next {fixed(cell['predict_low'], places)} to {fixed(cell['predict_high'], places)}"


def _quantiles(cell: dict[str, Any]) -> Iterator[str]:
    quantiles = cell.get("quantiles") or {}
    places = decimals(cell)
    for share in sorted(quantiles, key=float):
        if is_number(quantiles[share]):
            yield f"{100 * float(share):.0f} % {fixed(quantiles[share], places)}"
