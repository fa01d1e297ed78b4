"""Runs: what was measured in one, and lists of many."""

from collections.abc import Iterable
from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import decimals_of, fixed, with_uncertainty
from client_cli.render.console import can_show, heading, lines, table
from client_cli.render.imbalance import show_imbalance
from client_cli.render.readings import show_kept, show_reading
from client_cli.text import clean, one_line

COLOURS = {
    "accepted": "green",
    "held": "yellow",
    "withdrawn": "dim",
    "refused": "red",
    "failed": "red",
    "same": "green",
}
_SHOWN_APART = ("id", "state", "measurements", "findings", "read", "edition", "imbalance")
# What is systematic first: repeats do not shrink it.
PARTS = ("accuracy", "resolution", "calibration", "zero", "clock", "sampling", "scatter")


def state_text(state: str) -> Text:
    """A state in its colour."""
    return Text(clean(state), style=COLOURS.get(state, ""))


def show_measured(console: Console, document: dict[str, Any], name: str, *, parts: bool = False) -> None:
    """What was measured in one trace: state, measurements, findings, and how the file was understood.

    With `parts` also what each uncertainty is made of. A file of both sides shows both, and how unlike they
    pull.
    """
    sides: dict[str, dict[str, Any]] = document.get("sides") or {"": document}
    for index, (side, told) in enumerate(sides.items()):
        if index:
            console.print()
        named = f"{name}, {side} side" if side else name
        state = state_text(str(told.get("state", "-")))
        console.print(Text.assemble((clean(named), "bold"), ": ", state))
        _show_one(console, told, parts=parts)
    show_imbalance(console, document.get("imbalance") or {})
    if document.get("kept"):
        console.print()
        show_kept(console, document["kept"])


def _show_one(console: Console, document: dict[str, Any], *, parts: bool) -> None:
    _show_measurements(console, document)
    if parts:
        _show_parts(console, document.get("measurements") or {})
    _show_findings(console, document.get("findings") or [])
    if document.get("read"):
        console.print()
        console.print(Text("Read as", style="dim"))
        show_reading(console, document["read"])


def _show_measurements(console: Console, document: dict[str, Any]) -> None:
    measurements = document.get("measurements") or {}
    if not measurements:
        console.print("Nothing could be measured.")
        return
    edition = document.get("edition")
    sign = "±" if can_show(console, "±") else "+/-"
    rows = table("Metric", f"Value {sign} standard uncertainty", "Unit")
    for metric, quantity in measurements.items():
        value = with_uncertainty(quantity.get("value"), quantity.get("uncertainty")).replace("±", sign)
        rows.add_row(clean(metric), value, clean(quantity.get("unit", "")))
    console.print()
    console.print(rows)
    if edition is not None:
        console.print(Text(f"Edition {clean(edition)} of the metrics.", style="dim"))


def _show_parts(console: Console, measurements: dict[str, Any]) -> None:
    """A row a metric, a column for each part that any of them has, to the digits of the whole."""
    told = {metric: quantity.get("parts") or {} for metric, quantity in measurements.items()}
    names = [name for name in PARTS if any(name in parts for parts in told.values())]
    names += sorted({name for parts in told.values() for name in parts} - set(names))
    if not names:
        return
    rows = table("Metric", *map(clean, names), right=range(1, len(names) + 1))
    rows.columns[0].no_wrap = True
    for metric, parts in told.items():
        decimals = decimals_of(measurements[metric].get("uncertainty"))
        rows.add_row(clean(metric), *(_part(parts.get(name), decimals) for name in names))
    heading(console, "Standard uncertainty by part, in the metric's unit")
    console.print(rows)


def _part(value: Any, decimals: int | None) -> str:
    """A part as far as it counts in the whole; one too small for that is 0."""
    text = fixed(value, decimals)
    return text if text.strip("0.") else "0"


def _show_findings(console: Console, findings: Iterable[dict[str, Any]]) -> None:
    rows = table("Finding", "What, and what to do")
    for finding in findings:
        hint = clean(finding.get("hint") or "")
        rows.add_row(clean(finding.get("severity", "")), lines(clean(finding.get("message", "")), hint))
    if rows.row_count:
        console.print()
        console.print(rows)


def show_run(console: Console, document: dict[str, Any], *, parts: bool = False) -> None:
    """One stored run: where it came from, then what was measured."""
    rows = table("Provenance", "")
    for key, value in document.items():
        if key not in _SHOWN_APART and value not in (None, "", [], {}):
            rows.add_row(clean(key), one_line(value))
    show_measured(console, document, f"Run {document.get('id', '')}", parts=parts)
    heading(console, "Where it came from")
    console.print(rows)


def show_runs(console: Console, document: dict[str, Any]) -> None:
    """A list of runs, newest as the server orders them."""
    rows = table("Run", "Recorded", "Pump", "Revision", "Setting", "Clinic", "State")
    for run in document["results"]:
        rows.add_row(
            clean(run.get("id", "")),
            moment(run.get("recorded_at")),
            lines(clean(run.get("pump_model", "")), clean(run.get("serial", ""))),
            lines(one_line(run.get("revision")), clean(run.get("revision_basis") or "")),
            setting(run),
            one_line(run.get("clinic")),
            state_text(str(run.get("state", ""))),
        )
    if not rows.row_count:
        console.print("No runs match.")
        return
    console.print(rows)
    console.print()
    more = " There are more: raise --limit to see them." if document.get("next") else ""
    console.print(f"{_counted(rows.row_count, 'run')}.{more}")


def setting(row: dict[str, Any]) -> str:
    """Mode, programme and level in one cell."""
    parts = [one_line(row[key]) for key in ("mode", "programme") if row.get(key)]
    if row.get("level") not in (None, ""):
        parts.append(f"level {one_line(row['level'])}")
    return " ".join(parts) or "-"


def moment(value: Any) -> str:
    """A point in time to the minute, the day above the hour; what is not ISO 8601 stays as it is."""
    text = one_line(value)
    day, parted, hour = text.partition("T")
    return lines(day, hour[:5]) if parted else text


def _counted(number: int, noun: str) -> str:
    return f"1 {noun}" if number == 1 else f"{number} {noun}s"
