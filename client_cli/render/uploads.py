"""The end of an upload: what was accepted, held and refused, and why."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from rich.console import Console

from client_cli.errors import Problem
from client_cli.render.console import lines, table
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
_WORTH_TELLING = ("hold", "caution")


def show_outcomes(console: Console, outcomes: Sequence[Outcome]) -> None:
    """One row a trace in a short upload; a long one lists only what needs looking at."""
    short = len(outcomes) <= LISTED_IN_FULL
    rows = table("Outcome", "Line", "File", "Run", "Why, and what to do", widest={2: 24})
    for outcome in outcomes:
        if short or needs_looking_at(outcome):
            rows.add_row(*_cells(outcome))
    if rows.row_count:
        console.print(rows)
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


def _cells(outcome: Outcome) -> tuple[Any, ...]:
    return (
        state_text(outcome.outcome),
        str(outcome.row.line or ""),
        clean(outcome.row.name),
        clean("" if outcome.id is None else outcome.id),
        lines(*_reasons(outcome)),
    )


def _reasons(outcome: Outcome) -> Iterator[str]:
    if outcome.outcome == "same":
        known = "acknowledged earlier, not sent again" if outcome.skipped else "the server had it already"
        yield f"{known} ({clean(outcome.state)})"
    for finding in outcome.findings:
        if finding.get("severity") in _WORTH_TELLING:
            yield clean(finding.get("message", ""))
            yield clean(finding.get("hint") or "")
    if outcome.problem is not None:
        yield from _why(outcome.problem)


def _why(problem: Problem) -> Iterator[str]:
    yield problem.detail
    yield from details(problem)
    yield problem.hint
