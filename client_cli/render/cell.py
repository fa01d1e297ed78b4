"""One cell of a distribution looked at closely: histogram and influence; and what an answer left out."""

from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import decimals_of, fixed, is_number
from client_cli.render.console import counted, heading, indented, table
from client_cli.text import clean, one_line

_LONGEST_BAR = 40
_MARK = "#"
# A clinic among at least so many that carries more than this is worth a word.
_SEVERAL, _MOST_WEIGHT = 3, 0.6


def decimals(cell: dict[str, Any]) -> int | None:
    """Places that the interval of the centre carries; without one, those of the spread."""
    low, high = cell.get("low"), cell.get("high")
    if is_number(low) and is_number(high) and high > low:
        return decimals_of((high - low) / 4)  # an interval is about four standard uncertainties wide
    found = (decimals_of(cell.get(key)) for key in ("s_reproducibility", "s_unit", "s_repeatability"))
    return next((places for places in found if places is not None), None)


def show_cell(console: Console, cell: dict[str, Any], estimator: str) -> None:
    """The histogram of unit means, the units drawn in, what each clinic does to the centre, and how."""
    _show_histogram(console, cell.get("histogram") or {}, one_line(cell.get("unit")))
    _show_influence(console, cell)
    reined = cell.get("reined_units") or []
    if reined:
        console.print()
        console.print(
            f"Drawn in because they stand far out: {', '.join(map(clean, reined))}. They count, but no "
            "further than the rest reach."
        )
    if estimator:
        console.print()
        console.print(Text(f"Worked out so: {clean(estimator)}", style="dim"))


def _show_histogram(console: Console, histogram: dict[str, Any], unit: str) -> None:
    edges, counts = histogram.get("edges") or [], histogram.get("counts") or []
    if not any(counts) or len(edges) != len(counts) + 1:
        return
    heading(console, "Unit means" + ("" if unit in ("-", "1") else f", {unit}"))
    places = decimals_of(edges[1] - edges[0]) or 0
    ends = [fixed(edge, max(places, 0)) for edge in edges]
    width, most = max(map(len, ends)), max(counts)
    for low, high, count in zip(ends, ends[1:], counts, strict=False):
        bar = count if most <= _LONGEST_BAR else -(-count * _LONGEST_BAR // most)
        told = f" {count}" if count else ""
        console.print(f"  {low:>{width}} to {high:>{width}}  {_MARK * bar}{told}")


def _show_influence(console: Console, cell: dict[str, Any]) -> None:
    """What each clinic does to the centre, the strongest first."""
    influence = cell.get("influence") or []
    if not influence:
        return
    heading(console, "What each clinic does to the centre")
    places = decimals(cell)
    rows = table("Clinic", "Counts", "Its units, from centre", "Weight", "Centre without it", right=(2, 3, 4))
    for one in influence:
        rows.add_row(
            clean(one.get("clinic", "")) + (" (yours)" if one.get("own") else ""),
            f"{counted(one.get('units'), 'unit')}, {counted(one.get('runs'), 'run')}",
            _signed(one.get("apart"), places),
            f"{100 * one['weight']:.0f} %" if is_number(one.get("weight")) else "-",
            _without(cell, one, places),
        )
    console.print(rows)
    console.print(
        "Its units, from centre: their mean as the clinic read it, less the centre. What these units differ "
        "by themselves is in it; `vacuary benches` tells how far a bench reads."
    )
    weights = [one["weight"] for one in influence if is_number(one.get("weight"))]
    if len(weights) >= _SEVERAL and max(weights) > _MOST_WEIGHT:
        console.print(
            f"One clinic carries {100 * max(weights):.0f} % of this centre: its gauge declares less "
            "uncertainty than the others', or it has most of the units. Check that declaration before you "
            "lean on the centre."
        )


def _signed(value: Any, places: int | None) -> str:
    text = fixed(value, places)
    return f"+{text}" if is_number(value) and value > 0 and text.strip("0.") else text


def _without(cell: dict[str, Any], one: dict[str, Any], places: int | None) -> str:
    """Where the centre would be without a clinic; nothing without the only one."""
    if not (is_number(cell.get("centre")) and is_number(one.get("shift"))):
        return "-"
    return fixed(cell["centre"] + one["shift"], places)


def show_uncounted(console: Console, left_out: dict[str, Any]) -> None:
    """What an answer left out and why, in words; nothing where it left out nothing."""
    told = []
    held, reasons = left_out.get("held") or 0, left_out.get("held_for") or {}
    if held:
        why = ", ".join(f"{_in_words(code)} {one_line(count)}" for code, count in reasons.items())
        told.append(f"{counted(held, 'run')} held" + (f" ({why})" if why else ""))
    if left_out.get("withdrawn"):
        told.append(f"{counted(left_out['withdrawn'], 'run')} withdrawn")
    unknown = left_out.get("unknown_revision") or {}
    if unknown.get("runs"):
        runs, units = counted(unknown["runs"], "run"), counted(unknown.get("units"), "unit")
        told.append(f"{runs} of {units} whose revision is not known")
    if told:
        console.print()
        indented(console, f"Left out: {'; '.join(told)}.", by=0)


def _in_words(code: str) -> str:
    return clean(code).replace("_", " ")
