"""A difference split between a part and the base that bears it."""

from typing import Any

from rich.console import Console

from client_cli.numbers import fixed, is_number
from client_cli.render.comparisons import between, places_of
from client_cli.render.console import cautions, grouped, heading, lines, says, table
from client_cli.render.distributions import unit_name
from client_cli.render.rigs import PLACE, Rigs, show_shared, title
from client_cli.text import clean, one_line

_COMBINATIONS = ("old with old part", "old with new part", "new with old part", "new with new part")
_SHARES = ("total", "part", "base", "interaction")
# As many runs as a sitting takes; those that complete a setting soonest come first.
_MOST_MISSING = 6


def show_swap(console: Console, document: dict[str, Any], *, every: bool = False) -> None:
    """A table a setting, a row a metric; then the runs that are missing, the first or all with `every`."""
    says(console, document)
    rows = document.get("settings") or []
    rigs = Rigs(rows)
    if rows:
        show_shared(console, rigs)
    for group in grouped(rows, PLACE):
        _show_setting(console, group, rigs)
    if rows:
        console.print()
        console.print(
            "Part and base add up to the total (new less old). Interaction: how much more the new part "
            "changes on the new base than on the old. Each interval holds at 95 %; per cent are of the old "
            "value."
        )
    _show_missing(console, document.get("missing") or [], every=every)
    cautions(console, document)


def _show_setting(console: Console, group: list[dict[str, Any]], rigs: Rigs) -> None:
    heading(console, title(group[0], rigs))
    counts = group[0].get("units") or []
    alike = all((row.get("units") or []) == counts for row in group)
    if alike and len(counts) == len(_COMBINATIONS):
        console.print(_units(counts))
    rows = table("Metric", *(name.capitalize() for name in _SHARES), whole=(0,))
    for row in group:
        units = "" if alike else "+".join(one_line(count) for count in row.get("units") or [])
        named = lines(
            clean(row.get("metric", "")), unit_name(row.get("unit")), f"{units} units" if units else ""
        )
        rows.add_row(named, *(_share(row.get(name) or {}) for name in _SHARES))
        rows.add_section()
    console.print(rows)


def _units(counts: list[Any]) -> str:
    told = (f"{which} {one_line(number)}" for which, number in zip(_COMBINATIONS, counts, strict=True))
    return f"Units: {', '.join(told)}."


def _share(share: dict[str, Any]) -> str:
    places = places_of(share.get("low"), share.get("high"))
    percent = f"{fixed(share['percent'], 1)} %" if is_number(share.get("percent")) else ""
    return lines(
        fixed(share.get("value"), places), between(share.get("low"), share.get("high"), places), percent
    )


def _show_missing(console: Console, missing: list[dict[str, Any]], *, every: bool) -> None:
    if not missing:
        return
    heading(console, "Runs that are missing")
    by_setting = sorted(grouped(missing, PLACE), key=len)
    ranked = [row for group in by_setting for row in group]
    shown = ranked if every else ranked[:_MOST_MISSING]
    for row in shown:
        console.print(f"- {one_line(row.get('says'))}")
    if len(shown) < len(ranked):
        console.print(f"{len(ranked) - len(shown)} more are not shown; --all shows them.")
