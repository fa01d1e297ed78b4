"""How a revision behaves at each setting: counts, centre, spread and quantiles."""

from collections.abc import Iterator
from itertools import groupby
from typing import Any

from rich.console import Console

from client_cli.numbers import decimals_of, fixed, is_number, spread
from client_cli.render.console import cautions, heading, lines, says, table
from client_cli.render.runs import setting
from client_cli.text import clean, one_line

_GROUP = ("revision", "mode", "programme", "level", "rig", "power")
_SPREADS = (
    ("repeat", "s_repeatability"),
    ("unit", "s_unit"),
    ("clinic", "s_clinic"),
    ("all", "s_reproducibility"),
)


def show_distribution(console: Console, document: dict[str, Any]) -> None:
    """A table a revision and setting, a row a metric."""
    says(console, document)
    cells = document.get("cells") or []
    for _, group in groupby(cells, key=lambda cell: [one_line(cell.get(key)) for key in _GROUP]):
        _show_group(console, list(group))
    if cells:
        console.print()
        console.print(
            "Centre: with its interval, then where the next unit at the next clinic is to be expected. "
            "Spread: standard deviations of repeats, between units, between clinics, and all together. "
            "Thin: too few units or clinics to lean on."
        )
    cautions(console, document)


def _show_group(console: Console, cells: list[dict[str, Any]]) -> None:
    heading(console, _title(cells[0]))
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


def _title(cell: dict[str, Any]) -> str:
    revision = clean(cell.get("revision") or "not known")
    around = [one_line(cell[key]) for key in ("rig", "power") if cell.get(key)]
    told = f" ({'; '.join(around)})" if around else ""
    return f"Revision {revision}, {setting(cell)}{told}"


def unit_name(unit: Any) -> str:
    """The unit as people write it; a bare number has none."""
    return "" if unit in (None, "", "1") else clean(unit)


def _counts(cell: dict[str, Any]) -> Iterator[str]:
    for noun in ("run", "unit", "clinic"):
        number = cell.get(f"{noun}s")
        yield f"{one_line(number)} {noun}" + ("" if number == 1 else "s")
    if cell.get("state") == "thin":
        yield "thin"


def _decimals(cell: dict[str, Any]) -> int | None:
    """Places that the interval of the centre carries; without one, those of the spread."""
    low, high = cell.get("low"), cell.get("high")
    if is_number(low) and is_number(high) and high > low:
        return decimals_of((high - low) / 4)  # an interval is about four standard uncertainties wide
    found = (decimals_of(cell.get(key)) for key in ("s_reproducibility", "s_unit", "s_repeatability"))
    return next((places for places in found if places is not None), None)


def _centre(cell: dict[str, Any]) -> Iterator[str]:
    places = _decimals(cell)
    yield fixed(cell.get("centre"), places)
    if is_number(cell.get("low")) and is_number(cell.get("high")):
        yield f"{fixed(cell['low'], places)} to {fixed(cell['high'], places)}"
    else:
        yield "no interval"
    if is_number(cell.get("predict_low")) and is_number(cell.get("predict_high")):
        yield f"next {fixed(cell['predict_low'], places)} to {fixed(cell['predict_high'], places)}"


def _quantiles(cell: dict[str, Any]) -> Iterator[str]:
    quantiles = cell.get("quantiles") or {}
    places = _decimals(cell)
    for share in sorted(quantiles, key=float):
        if is_number(quantiles[share]):
            yield f"{100 * float(share):.0f} % {fixed(quantiles[share], places)}"
