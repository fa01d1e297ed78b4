"""A run's single cycles."""

from typing import Any

from rich.console import Console

from client_cli.numbers import fixed
from client_cli.render.console import table
from client_cli.text import clean

# Places that no bench's scatter from cycle to cycle falls below.
_COLUMNS = (
    ("Start, s", "start_s", 2),
    ("Period, s", "period_s", 3),
    ("Peak, mmHg", "peak_mmhg", 1),
    ("Residual, mmHg", "residual_mmhg", 1),
    ("Duty", "duty", 3),
)


def show_cycles(console: Console, document: dict[str, Any]) -> None:
    """A row a cycle, with the kind of loss where there is one."""
    rows = table("Cycle", *(head for head, _, _ in _COLUMNS), "Lost", right=range(6))
    for cycle in document["results"]:
        values = (fixed(cycle.get(key), places) for _, key, places in _COLUMNS)
        rows.add_row(clean(cycle.get("number", "")), *values, clean(cycle.get("loss") or ""))
    console.print(rows if rows.row_count else "No cycle was found in this run.")
