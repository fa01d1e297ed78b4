"""The end of an upload: what was accepted, held and refused, and why."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from rich.console import Console

from client_cli.errors import Problem
from client_cli.render.console import heading, lines, table
from client_cli.render.errors import details
from client_cli.render.runs import state_text
from client_cli.text import clean
from client_cli.upload import Outcome, counts

LISTED_IN_FULL = 100
_WORDS = {
    "accepted": "accepted",
    "held": "held",
    "refused": "refused",
    "same": "already there",
    "failed": "failed at the server",
}


def show_outcomes(console: Console, outcomes: Sequence[Outcome]) -> None:
    """One row a trace in a short upload; a long one lists only what needs looking at. Then the cautions."""
    short = len(outcomes) <= LISTED_IN_FULL
    told: dict[str, Outcome] = {}
    rows = table("Outcome", "Line", "File", "Run", "Why, and what to do", widest={2: 28})
    for outcome in outcomes:
        if short or needs_looking_at(outcome):
            rows.add_row(*_cells(outcome, told))
    if rows.row_count:
        console.print(rows)
    _show_cautions(console, outcomes)
    console.print()
    console.print(summary(outcomes))
    if not short:
        console.print("Listed is what needs looking at; --json lists every row.")


def needs_looking_at(outcome: Outcome) -> bool:
    """Whether the run does not count in answers as it stands."""
    return outcome.state != "accepted"


def summary(outcomes: Iterable[Outcome]) -> str:
    """The counts in one line, without those that are 0."""
    counted = [f"{number} {_WORDS[word]}" for word, number in counts(outcomes).items() if number]
    return (", ".join(counted) or "Nothing to send") + "."


def _cells(outcome: Outcome, told: dict[str, Outcome]) -> tuple[Any, ...]:
    """The row of an outcome; a reason that `told` holds already is only pointed at."""
    reason = lines(*_reasons(outcome))
    first = told.setdefault(reason, outcome)
    if reason and first is not outcome and outcome.outcome != "same":
        reason = f"as line {first.row.line}" if first.row.line else f"as {clean(first.row.name)}"
    return (
        state_text(outcome.outcome),
        str(outcome.row.line or ""),
        clean(outcome.row.name),
        clean("" if outcome.id is None else outcome.id),
        reason,
    )


def _reasons(outcome: Outcome) -> Iterator[str]:
    if outcome.outcome == "same":
        known = "it is there, not sent again" if outcome.skipped else "the server had it already"
        yield f"{known} ({clean(outcome.state)})"
        if outcome.state == "withdrawn":
            yield "It was withdrawn, so it does not count in answers."
    for finding in outcome.findings:
        if finding.get("severity") == "hold":
            yield clean(finding.get("message", ""))
            yield clean(finding.get("hint") or "")
    if outcome.problem is not None:
        yield from _why(outcome.problem)


def _why(problem: Problem) -> Iterator[str]:
    yield problem.detail
    yield from details(problem)
    yield problem.hint
    if problem.status >= 500 and problem.request_id:
        yield f"Request {problem.request_id}"


def _show_cautions(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Each caution once, with the runs it concerns: a slip on the bench usually marks a whole sweep."""
    noted: dict[str, list[tuple[Outcome, dict[str, Any]]]] = {}
    for outcome in outcomes:
        for finding in outcome.findings:
            if finding.get("severity") == "caution":
                noted.setdefault(str(finding.get("code")), []).append((outcome, finding))
    if not noted:
        return
    rows = table("Runs", "What, and what to do", widest={0: 24})
    for marked in noted.values():
        rows.add_row(_places([outcome for outcome, _ in marked]), _caution([found for _, found in marked]))
    heading(console, "Cautions")
    console.print(rows)


def _caution(findings: Sequence[dict[str, Any]]) -> str:
    """One caution for many runs; where the figures in it differ, the first stands for the others."""
    messages = [clean(finding.get("message", "")) for finding in findings]
    varies = "for example: " if len(set(messages)) > 1 else ""
    return lines(f"{varies}{messages[0]}", clean(findings[0].get("hint") or ""))


def _places(outcomes: Sequence[Outcome]) -> str:
    """Where these runs stand in the list, as in `lines 2 to 25, 27`; without one, their files or number."""
    numbers = sorted({outcome.row.line for outcome in outcomes if outcome.row.line})
    if not numbers:
        names = ", ".join(clean(outcome.row.name) for outcome in outcomes)
        return names if len(outcomes) <= 3 else f"{len(outcomes)} runs"
    spans: list[tuple[int, int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], number)
        else:
            spans.append((number, number))
    written = ", ".join(str(low) if low == high else f"{low} to {high}" for low, high in spans)
    return f"{'line' if len(numbers) == 1 else 'lines'} {written}"
