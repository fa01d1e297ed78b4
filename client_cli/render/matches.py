"""Settings that meet a need, or that are like another one."""

from collections.abc import Iterator
from typing import Any

from rich.console import Console

from client_cli.numbers import fixed, is_number
from client_cli.render.comparisons import counted
from client_cli.render.console import cautions, lines, says, table
from client_cli.render.runs import setting
from client_cli.text import clean, one_line


def show_settings(console: Console, document: dict[str, Any]) -> None:
    """A row a setting, the likeliest or the nearest first."""
    says(console, document)
    rows = document.get("settings") or []
    if rows:
        console.print()
        _show_rows(console, rows, by_distance=bool(document.get("like")))
        console.print()
        console.print(_explained(document))
    cautions(console, document)


def _show_rows(console: Console, rows: list[dict[str, Any]], *, by_distance: bool) -> None:
    made = table("Pump", "Setting", "Margins away" if by_distance else "Next unit", "Metrics", "Counts")
    for row in rows:
        revision = clean(row.get("revision") or "not known")
        measured = (one_line(row[key]) for key in ("rig", "power") if row.get(key))
        made.add_row(
            lines(clean(row.get("model", "")), f"revision {revision}"),
            lines(setting(row), *measured),
            fixed(row.get("distance"), 1) if by_distance else _chance(row.get("probability")),
            lines(*_metrics(row.get("metrics") or {})),
            lines(*(counted(row.get(f"{noun}s"), noun) for noun in ("unit", "clinic")), _thin(row)),
        )
        made.add_section()
    console.print(made)


def _thin(row: dict[str, Any]) -> str:
    return "thin" if row.get("state") == "thin" else ""


def _chance(probability: Any) -> str:
    return f"{100 * probability:.0f} %" if is_number(probability) else "not known"


def _metrics(metrics: dict[str, Any]) -> Iterator[str]:
    for metric, found in metrics.items():
        yield f"{clean(metric)} {fixed(found.get('centre'), None)}"
        low, high = found.get("predict_low"), found.get("predict_high")
        if is_number(low) and is_number(high):
            yield f"  next {fixed(low, None)} to {fixed(high, None)}"
        if is_number(found.get("in_margins")):
            yield f"  {found['difference']:+.3g} ({found['in_margins']:+.1f} margins)"


def _explained(document: dict[str, Any]) -> str:
    left = document.get("left_off")
    more = f" {one_line(left)} less likely settings are left off." if left else ""
    if document.get("like"):
        return "Margins are how much matters; up to 1 is within them in every metric."
    return (
        "Next unit: how likely one run of the next unit at the next clinic meets all of it at once. "
        f"Thin: too few units or clinics to say.{more}"
    )
