"""How a file was read, in words that a person can check at a glance."""

from collections.abc import Iterator, Mapping
from textwrap import wrap
from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import is_number
from client_cli.render.console import table
from client_cli.text import clean, one_line

Read = Mapping[str, Any]
_INDENT = 10
_TOLD = ("unit", "sign", "rate_hz", "vacuum_column", "time_column", "time_unit")


def show_reading(console: Console, read: Read) -> None:
    """The columns, units, sign, clock, rate and zero that were understood, each from a line of its own."""
    for label, text in _lines(read):
        width = max(console.width - _INDENT, _INDENT)
        first, *more = wrap(clean(text), width, break_on_hyphens=False) or [""]
        console.print(Text.assemble((f"  {label:<{_INDENT - 2}}", "dim"), first), soft_wrap=True)
        for line in more:
            console.print(Text(" " * _INDENT + line), soft_wrap=True)


def alike(read: Read) -> tuple[str, ...]:
    """What two readings share that a person need see only once; lengths and zeros may differ."""
    return (_vacuum(read), _time(read), _zero_basis(read), _text(read))


def show_kept(console: Console, kept: Mapping[str, Any]) -> None:
    """What is kept for a gauge, by whom and since when."""
    rows = table(f"Gauge {clean(kept.get('gauge', ''))}", "Usual reading")
    for key in _TOLD:
        if kept.get(key) not in (None, ""):
            rows.add_row(key, one_line(kept[key]))
    console.print(rows)
    if kept.get("saved_at"):
        console.print(f"Kept by {one_line(kept.get('saved_by'))} on {one_line(kept['saved_at'])[:10]}.")


def _lines(read: Read) -> Iterator[tuple[str, str]]:
    yield "vacuum", _vacuum(read)
    yield "time", ", ".join(part for part in (_time(read), *_length(read)) if part)
    if is_number(read.get("zero_mmhg")):
        yield "zero", f"{read['zero_mmhg']:.2f} mmHg, {_zero_basis(read)}"
    yield "file", _text(read)


def _vacuum(read: Read) -> str:
    column = read.get("vacuum_column")
    side = f"{read['side']} side" if read.get("side") in ("left", "right") else ""
    parts = [
        f"column '{column}'" if column else "",
        side,
        _with_basis(read.get("vacuum_unit"), read.get("unit_basis")),
    ]
    return ", ".join(part for part in (*parts, str(read.get("sign") or "")) if part)


def _time(read: Read) -> str:
    column = read.get("time_column")
    parts = [f"column '{column}'" if column else "no column", _with_basis(_unit_of_time(read), None)]
    clock = read.get("clock")
    rate = read.get("rate_hz")
    told = _with_basis(f"{rate:.4g} samples/s", read.get("rate_basis")) if is_number(rate) else ""
    return ", ".join(
        part for part in (*parts, f"{clock} clock" if clock == "elapsed" else str(clock or ""), told) if part
    )


def _unit_of_time(read: Read) -> Any:
    return None if read.get("time_unit") == "none" else read.get("time_unit")


def _length(read: Read) -> Iterator[str]:
    if is_number(read.get("samples")):
        yield f"{read['samples']} samples"
    if is_number(read.get("duration_s")):
        yield f"{read['duration_s']:.3g} s"


def _zero_basis(read: Read) -> str:
    return str(read.get("zero_basis") or "")


def _text(read: Read) -> str:
    parts = (
        read.get("encoding"),
        read.get("delimiter"),
        f"decimal {read.get('decimal')}",
        read.get("compression"),
    )
    return ", ".join(str(part) for part in parts if part not in (None, "", "none"))


def _with_basis(what: Any, basis: Any) -> str:
    if what in (None, ""):
        return ""
    return f"{what} ({basis})" if basis else str(what)
