"""Gauges as declared, in mmHg."""

from typing import Any

from rich.console import Console

from client_cli.numbers import is_number
from client_cli.render.console import lines, table
from client_cli.text import clean, one_line


def show_gauge(console: Console, document: dict[str, Any]) -> None:
    """One gauge as the server understood its declaration, so that a slip is seen at once."""
    show_gauges(console, {"results": [document]})


def show_gauges(console: Console, document: dict[str, Any]) -> None:
    """A list of gauges with what was declared and their calibrations."""
    rows = table("Gauge", "Clinic", "Model", "Declared", "Calibrations")
    for gauge in document["results"]:
        rows.add_row(
            clean(gauge.get("code", "")),
            one_line(gauge.get("clinic")),
            one_line(gauge.get("gauge_model")),
            lines(*_declared(gauge)),
            lines(*map(_calibration, gauge.get("calibrations") or [])) or "none",
        )
    console.print(rows if rows.row_count else "No gauge is declared yet. Use `vacuary gauge declare`.")


def _declared(gauge: dict[str, Any]) -> list[str]:
    low, high = one_line(gauge.get("range_low_mmhg")), one_line(gauge.get("range_high_mmhg"))
    return [
        f"{low} to {high} mmHg",
        f"step {one_line(gauge.get('resolution_mmhg'))} mmHg",
        f"within {_accuracy(gauge)}",
    ]


def _accuracy(gauge: dict[str, Any]) -> str:
    absolute, relative = gauge.get("accuracy_mmhg"), gauge.get("accuracy_fraction")
    parts = [f"{one_line(absolute)} mmHg"] if absolute else []
    if is_number(relative) and relative > 0:
        parts.append(f"{one_line(100.0 * relative)} % of reading")
    return " + ".join(parts) or "no limit of error"


def _calibration(item: dict[str, Any]) -> str:
    day, source = one_line(item.get("on")), one_line(item.get("source"))
    values = [
        f"{word} {one_line(item[key])}{unit}"
        for word, key, unit in (
            ("offset", "offset_mmhg", " mmHg"),
            ("gain", "gain", ""),
            ("u", "uncertainty_mmhg", " mmHg"),
        )
        if is_number(item.get(key))
    ]
    return f"{day}: {', '.join(values)} ({source})"
