"""Settings that meet a need, or that are like another one."""

from collections.abc import Iterator
from typing import Any

from rich.console import Console

from client_cli.numbers import fixed, is_number, percent
from client_cli.render.comparisons import between, places_of
from client_cli.render.console import cautions, counted, lines, says, table, thin
from client_cli.render.rigs import Rigs, show_shared, side_of
from client_cli.render.runs import setting
from client_cli.text import clean, one_line

_FEW = 8


def show_settings(console: Console, document: dict[str, Any], *, every: bool = False) -> None:
    """A row a setting, the likeliest or the nearest first: the first few, or all with `every`."""
    says(console, document)
    rows = document.get("settings") or []
    shown = rows if every else rows[:_FEW]
    if shown:
        rigs = Rigs(shown)
        show_shared(console, rigs)
        console.print()
        _show_rows(console, shown, rigs, by_distance=bool(document.get("like")))
        console.print()
        console.print(_explained(document, len(rows) - len(shown)))
    cautions(console, document)


def _show_rows(console: Console, rows: list[dict[str, Any]], rigs: Rigs, *, by_distance: bool) -> None:
    made = table("Pump", "Setting", "Margins away" if by_distance else "Next unit", "Metrics", "Counts")
    for row in rows:
        revision = clean(row.get("revision") or "not known")
        made.add_row(
            lines(clean(row.get("model", "")), f"revision {revision}"),
            lines(setting(row), *side_of(row), rigs.own(row), *_other_parts(row)),
            lines(*_distance(row)) if by_distance else _chance(row.get("probability")),
            lines(*_metrics(row.get("metrics") or {})),
            lines(*(counted(row.get(f"{noun}s"), noun) for noun in ("unit", "clinic")), *thin(row)),
        )
        made.add_section()
    console.print(made)


def _other_parts(row: dict[str, Any]) -> list[str]:
    """Parts of the pump that are others than those of the old setting; a caution names them."""
    return [f"other {one_line(part)}" for part in row.get("other_parts") or {}]


def _chance(probability: Any) -> str:
    return percent(probability) if is_number(probability) else "not known"


def _distance(row: dict[str, Any]) -> Iterator[str]:
    yield fixed(row.get("distance"), 1)
    yield one_line(row.get("within"))
    if is_number(row.get("probability")) and row.get("within") == "cannot tell":
        yield f"chance {_chance(row['probability'])}"


def _metrics(metrics: dict[str, Any]) -> Iterator[str]:
    for metric, found in metrics.items():
        low, high = found.get("predict_low"), found.get("predict_high")
        yield f"{clean(metric)} {fixed(found.get('centre'), places_of(low, high))}"
        if is_number(low) and is_number(high):
            yield f"next {between(low, high, places_of(low, high))}"
        if is_number(found.get("in_margins")):
            apart = found["difference"]
            yield f"{apart:+.{0 if abs(apart) >= 10 else 1}f} ({found['in_margins']:+.1f} margins)"
            ends = found.get("difference_low"), found.get("difference_high")
            if all(map(is_number, ends)):
                yield f"from {between(*ends, places_of(*ends))}"


def _explained(document: dict[str, Any], hidden: int) -> str:
    by_distance = bool(document.get("like"))
    left = document.get("left_off") or 0
    less = "further" if by_distance else "less likely"
    more = f" {hidden} {less} settings are not shown; --all shows them." if hidden else ""
    more += f" {one_line(left)} {less} settings are left off; --most N lists up to 200." if left else ""
    if by_distance:
        return (
            "Margins away: how far in steps of what matters (5 % of the cycle rate, 10 mmHg, unless said); "
            "up to 1 is close enough in every metric. Within, not within: surely so at 5 % error. Below a "
            f"metric: how far it lies from the old setting, and the 95 % interval of that.{more}"
        )
    return (
        "Next unit: how likely one run of the next unit at the next clinic meets all of it at once. "
        f"Thin: too few units or clinics to say.{more}"
    )
