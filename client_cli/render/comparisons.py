"""Two builds side by side, setting by setting."""

from collections.abc import Iterator
from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import decimals_of, fixed, is_number
from client_cli.render.console import cautions, counted, grouped, heading, lines, says, table
from client_cli.render.distributions import unit_name
from client_cli.render.rigs import PLACE, Rigs, show_shared, side_of, title
from client_cli.render.runs import setting
from client_cli.text import clean, one_line

COLOURS = {"same": "green", "different": "red", "cannot tell yet": "yellow"}


def show_comparison(console: Console, document: dict[str, Any]) -> None:
    """A table a setting, a row a metric; then the reach, and what could not be compared."""
    says(console, document)
    rows = document.get("settings") or []
    rigs = Rigs(rows)
    if rows:
        show_shared(console, rigs)
    for group in grouped(rows, PLACE):
        _show_setting(console, group, rigs)
    if rows:
        console.print()
        console.print(_explained(document))
    _show_reach(console, document.get("reach") or [])
    show_left_out(console, document.get("left_out") or [])
    cautions(console, document)


def between(low: Any, high: Any, places: int | None) -> str:
    """An interval, or nothing where there is none."""
    if not (is_number(low) and is_number(high)):
        return "no interval"
    return f"{fixed(low, places)} to {fixed(high, places)}"


def places_of(low: Any, high: Any) -> int | None:
    """Decimal places of the first digit of an interval's uncertainty; it is about four of them wide."""
    if not (is_number(low) and is_number(high)) or high <= low:
        return None
    places = decimals_of((high - low) / 4)
    return None if places is None else max(places - 1, 0)


def show_left_out(console: Console, left_out: list[dict[str, Any]]) -> None:
    """What could not be compared, and why."""
    if not left_out:
        return
    heading(console, "Not compared")
    rows = table("Setting", "Why")
    for row in left_out:
        rows.add_row(setting(row), one_line(row.get("why")))
    console.print(rows)


def _show_setting(console: Console, group: list[dict[str, Any]], rigs: Rigs) -> None:
    heading(console, title(group[0], rigs))
    rows = table("Metric", "Old", "New", "Difference", "Per cent", "Verdict", whole=(0,))
    for row in group:
        places = places_of(row.get("low"), row.get("high"))
        rows.add_row(
            lines(clean(row.get("metric", "")), unit_name(row.get("unit"))),
            _side(row, "old", places),
            _side(row, "new", places),
            lines(fixed(row.get("difference"), places), between(row.get("low"), row.get("high"), places)),
            _percent(row),
            Text("\n").join([verdict_text(row), *map(Text, _remarks(row))]),
        )
        rows.add_section()
    console.print(rows)


def verdict_text(row: dict[str, Any]) -> Text:
    """A verdict in its colour."""
    verdict = one_line(row.get("verdict"))
    return Text(verdict, style=COLOURS.get(verdict, ""))


def _side(row: dict[str, Any], name: str, places: int | None) -> str:
    counts = [counted(row.get(f"{noun}s_{name}"), noun) for noun in ("unit", "clinic")]
    return lines(fixed(row.get(name), places), *counts)


def _percent(row: dict[str, Any]) -> str:
    low, high = row.get("percent_low"), row.get("percent_high")
    if not is_number(row.get("percent")):
        return "-"
    ends = between(low, high, 1) if is_number(low) else ""
    return lines(fixed(row["percent"], 1), ends)


def _remarks(row: dict[str, Any]) -> Iterator[str]:
    bands = row.get("bands") or {}
    if bands.get("crossed"):
        sure = "" if bands.get("sure") else " (not sure)"
        yield f"crosses {', '.join(f'{edge:g}' for edge in bands['crossed'])}{sure}"
    if row.get("matters") == "yes":
        yield "more than matters"
    if row.get("verdict") == "same" and _reaches_beyond(row):
        low, high = row.get("same_low"), row.get("same_high")
        yield f"alone {between(low, high, places_of(low, high))}, within the margin"
    if is_number(row.get("spreads")):
        yield f"{abs(row['spreads']):.1f} times the spread between units"
    if row.get("set_aside"):
        yield f"{row['set_aside']} set aside"
    if row.get("verdict") == "cannot tell yet":
        yield _needs(row.get("needs"))


def _reaches_beyond(row: dict[str, Any]) -> bool:
    """Whether the interval shown would not seem to say that it is the same."""
    low, high, margin = (row.get(name) for name in ("low", "high", "margin"))
    return all(map(is_number, (low, high, margin))) and max(-float(low or 0), float(high or 0)) > float(
        margin or 0
    )


def _needs(needs: dict[str, Any] | None) -> str:
    if not needs:
        return "more units alone would not tell soon"
    units, clinics = counted(needs.get("units"), "more unit"), counted(needs.get("clinics"), "clinic")
    return f"needs {units} of each at {clinics}"


def _explained(document: dict[str, Any]) -> str:
    margins = document.get("margins") or {}
    told = ", ".join(f"{clean(name).replace('_', ' ')} {one_line(value)}" for name, value in margins.items())
    family = document.get("family")
    held = "The interval holds" if family == 1 else f"Intervals hold all {one_line(family)} values together"
    return (
        f"Difference: new less old. {held} at 95 %. Same: within what matters ({told}) at 5 % error, each "
        f"value alone. Bands of 70 and 60 cycles/min are common practice and no rule.{_of_one_pump(document)}"
    )


def _of_one_pump(document: dict[str, Any]) -> str:
    """What to bear in mind where one pump is held against many."""
    single = [str(document.get(side) or "").startswith("unit ") for side in ("old", "new")]
    if sum(single) != 1:
        return ""
    return (
        " One pump is held against the mean of the others here, and sound pumps of one build differ as well: "
        "`vacuary distribution` shows how far the next one may lie."
    )


def _show_reach(console: Console, reach: list[dict[str, Any]]) -> None:
    if not reach:
        return
    heading(console, "70 cycles/min at the vacuum in use")
    rigs = Rigs(reach)
    rows = table("Old at", "Rate", "Vacuum", "New reaches 70", "With")
    answers = {True: "yes", False: "no", None: "not measured"}
    for row in reach:
        best = row.get("with") or {}
        told = f"{setting(best)}: {fixed(best.get('rate'), 1)} at {fixed(best.get('vacuum'), 0)} mmHg"
        rows.add_row(
            lines(setting(row), *side_of(row), rigs.own(row)),
            fixed(row.get("rate"), 1),
            f"{fixed(row.get('vacuum'), 0)} mmHg",
            answers.get(row.get("reached"), "-")
            + (" (not sure)" if row.get("reached") is not None and not row.get("sure", True) else ""),
            told if best else "-",
        )
    console.print(rows)
