"""How far benches read from each other, and how units that went round came out."""

from collections.abc import Iterator
from typing import Any

from rich.console import Console
from rich.text import Text

from client_cli.numbers import decimals_of, fixed, is_number, with_uncertainty
from client_cli.render.comparisons import between
from client_cli.render.console import cautions, counted, grouped, heading, lines, says, table
from client_cli.render.distributions import unit_name
from client_cli.render.rigs import PLACE, Rigs, title
from client_cli.text import clean, one_line

COLOURS = {"acceptable": "green", "warning": "yellow", "action": "red"}
_QUANTITIES = {"vacuum": "Vacuum", "cycle_rate": "Cycle rate"}
_SCORES = {"z": "z", "z_prime": "z'"}
_FEW_ROUNDS = 6
_BEYOND = "beyond declared"


def show_benches(console: Console, document: dict[str, Any], *, every: bool = False) -> None:
    """A table a quantity with a row a bench; then the latest rounds with the scores that need looking at.

    With `every`, all rounds and all scores.
    """
    says(console, document)
    benches, rounds = document.get("benches") or [], document.get("rounds") or []
    for quantity, name in _QUANTITIES.items():
        _show_offsets(console, name, list(_of_quantity(document, quantity)))
    if benches:
        console.print()
        console.print(_explained(document))
    shown = rounds if every else rounds[:_FEW_ROUNDS]
    for one in shown:
        _show_round(console, one, every=every)
    if rounds:
        console.print()
        console.print(_rounds_explained(len(rounds) - len(shown), every=every))
    cautions(console, document)


def _of_quantity(document: dict[str, Any], quantity: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The own bench with its gauges first, then the others as they come."""
    rows = [row for row in document.get("benches") or [] if row.get("quantity") == quantity]
    gauges = [row for row in document.get("gauges") or [] if row.get("quantity") == quantity]
    yield from ((f"{clean(row.get('clinic', ''))} (yours)", row) for row in rows if row.get("own"))
    yield from ((f"gauge {clean(row.get('gauge', ''))}", row) for row in gauges)
    yield from ((clean(row.get("clinic", "")), row) for row in rows if not row.get("own"))


def _show_offsets(console: Console, name: str, rows: list[tuple[str, dict[str, Any]]]) -> None:
    if not rows:
        return
    heading(console, f"{name}: how far each bench reads from the rest, in per cent")
    made = table("Bench", "Offset", "95 % interval", "Score", "Mark", "Units", "Others", right=(1, 3, 5, 6))
    for bench, row in rows:
        thin = row.get("state") == "thin"
        made.add_row(
            bench,
            _signed(row.get("offset_percent"), 1),
            "-" if thin else between(row.get("low_percent"), row.get("high_percent"), 1),
            _signed(row.get("z_prime"), 1),
            Text(f"thin: needs {clean(row.get('missing', ''))}") if thin else _mark(row),
            one_line(row.get("units")),
            one_line(row.get("others")),
        )
    console.print(made)


def _signed(value: Any, places: int) -> str:
    if not is_number(value):
        return "-"
    text = fixed(value, places)
    return text if text.startswith("-") or not text.strip("0.") else f"+{text}"


def _mark(row: dict[str, Any]) -> Text:
    """How a score is read, in its colour, and whether the gauge's declaration covers it."""
    reads = one_line(row.get("reads"))
    made = Text(reads, style=COLOURS.get(reads, ""))
    if row.get("en_reads") == "action":
        made.append(f"\n{_BEYOND}", style="default")
    return made


def _explained(document: dict[str, Any]) -> str:
    scatter = document.get("scatter_percent") or {}
    told = [
        f"{fixed(scatter[quantity], 1)} % in {name.lower()}"
        for quantity, name in _QUANTITIES.items()
        if is_number(scatter.get(quantity))
    ]
    differ = f" Benches differ by {' and '.join(told)} (standard deviation)." if told else ""
    return (
        f"Offset: against the robust mean of all benches.{differ} Score: z' of ISO 13528, the offset in "
        "steps of what is commonly allowed (2 % of vacuum, 1 % of cycle rate; no published source). "
        "Acceptable: up to 2. Warning: up to 3, worth a look. Action: find the cause before you record on. "
        "Beyond declared: E_n of 1 and more, further off than the gauge's declared accuracy covers; have "
        "it calibrated, or correct its declaration. Units: those it read of builds that "
        "others read; others: benches that did."
    )


def _show_round(console: Console, one: dict[str, Any], *, every: bool) -> None:
    days = list(dict.fromkeys(clean(one[key]) for key in ("first_day", "last_day") if one.get(key)))
    when = f", {' to '.join(days)}" if days else ""
    went = f"{clean(one.get('pump_model', ''))} {clean(one.get('serial', ''))}"
    heading(console, f"{went} went round {counted(one.get('clinics'), 'clinic')}{when}")
    rows_of_all = one.get("settings") or []
    rigs = Rigs(rows_of_all)
    for rows in grouped(rows_of_all, PLACE):
        console.print(f"{title(rows[0], rigs)}, with {rigs.shared}:" if rigs.shared else title(rows[0], rigs))
        made = table("Metric", "Agreed value", "Clinic", "Read", "Score", "Mark", right=(4,))
        for row in rows:
            for cells in _scored(row, every=every):
                made.add_row(*cells)
            made.add_section()
        console.print(made)


def _scored(row: dict[str, Any], *, every: bool) -> Iterator[tuple[str | Text, ...]]:
    """The rows of one metric: the own score and those that need looking at, then how many others."""
    named: tuple[str, str] = (
        lines(clean(row.get("metric", "")), unit_name(row.get("unit"))),
        with_uncertainty(row.get("assigned"), row.get("u_assigned")),
    )
    scores = sorted(row.get("scores") or [], key=lambda score: not score.get("own"))
    shown = [score for score in scores if every or score.get("own") or score.get("reads") != "acceptable"]
    by = str(row.get("by", "z"))
    for score in shown:
        clinic = clean(score.get("clinic", "")) + (" (yours)" if score.get("own") else "")
        read = fixed(score.get("value"), decimals_of(score.get("u")))
        yield (*named, clinic, read, f"{_SCORES.get(by, by)} {_signed(score.get(by), 1)}", _mark(score))
        named = ("", "")
    rest = [score for score in scores if score not in shown]
    if rest:
        beyond = sum(score.get("en_reads") == "action" for score in rest)
        also = f"\n{beyond} {_BEYOND}" if beyond else ""
        others = f"{counted(len(rest), 'other')}" if shown else f"all {len(rest)}"
        yield (*named, others, "", "", Text.assemble(("acceptable", COLOURS["acceptable"]), also))


def _rounds_explained(more: int, *, every: bool) -> str:
    left = f" {more} earlier rounds are not shown." if more else ""
    all_of_them = "" if every else f"{left} --all shows every score."
    return (
        "Agreed value: the robust mean of all clinics with its standard uncertainty. Score: z, or z' where "
        "the agreed value is itself unsure; marks as above, E_n against the other clinics. Codes of clinics "
        f"are others in each round.{all_of_them}"
    )
