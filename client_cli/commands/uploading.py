"""How `upload` goes: progress on stderr, a table at the end, and the exit code that says what came of it."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from client_cli.commands.common import Call
from client_cli.commands.looking import Looks, is_wanted, look, show_unforeseen
from client_cli.errors import ClientError, Refused
from client_cli.exits import ExitCode, code_for
from client_cli.journal import Journal, digest, digest_of_provenance, journal_path
from client_cli.manifest import Row
from client_cli.render.console import remarks, table
from client_cli.render.uploads import show_outcomes
from client_cli.text import clean
from client_cli.upload import Outcome, counts, read_trace, upload_rows

if TYPE_CHECKING:
    from client_cli.session import Session


def send(call: Call, rows: Sequence[Row], *, again: bool, sure: bool = False) -> ExitCode:
    """Show how files are read, ask on a terminal unless `sure`, send the rows, and show what became of them.

    What became of them is shown also when it ends early. Programs that ask for JSON are shown no readings.
    """
    target = call.target()
    journal = Journal(journal_path(target.server, target.token))
    with call.session_with(target) as session:
        looks = Looks()
        if not call.as_json:
            try:
                looks = look(session, rows, None if again else journal)
            except (ClientError, KeyboardInterrupt) as error:
                return _ended_early(call, error, 0, len(rows))
            if not sure and not is_wanted(call, looks.fresh):
                call.remark("Nothing was stored.")
                return ExitCode.INTERRUPTED
        outcomes, ended = _send(session, rows, journal, again=again)
    if outcomes or ended is None or call.as_json:
        call.answer(_document(outcomes, len(rows)), lambda console, _: show_outcomes(console, outcomes))
    if not call.as_json:
        show_unforeseen(looks, outcomes)
    if journal.trouble:
        call.remark(
            f"What was acknowledged could not be noted ({journal.trouble}); it is safe to send again."
        )
    if ended is not None:
        return _ended_early(call, ended, len(outcomes), len(rows))
    return exit_for(outcomes)


def _send(
    session: "Session", rows: Sequence[Row], journal: Journal, *, again: bool
) -> tuple[list[Outcome], BaseException | None]:
    """What became of the rows, and what ended it early, if anything."""
    outcomes: list[Outcome] = []
    with _progress(len(rows)) as advance:

        def on_progress(outcome: Outcome) -> None:
            outcomes.append(outcome)
            advance()

        try:
            upload_rows(session, rows, on_progress, journal=journal, again=again)
        except (ClientError, KeyboardInterrupt) as error:
            return outcomes, error
    return outcomes, None


def exit_for(outcomes: Sequence[Outcome]) -> ExitCode:
    """1 when the server failed over a row, 3 when one is refused, held or withdrawn, otherwise 0."""
    if any(outcome.outcome == "failed" for outcome in outcomes):
        return ExitCode.FAULT
    uncounted = any(
        outcome.outcome == "refused" or outcome.state in ("held", "withdrawn") for outcome in outcomes
    )
    return ExitCode.REFUSED if uncounted else ExitCode.DONE


def rehearse(call: Call, rows: Sequence[Row], *, again: bool) -> ExitCode:
    """Say what `send` would send, from what can be known here."""
    target = call.target()
    journal = Journal(journal_path(target.server, target.token))
    planned = [_planned(row, journal, again=again) for row in rows]
    words = Counter(plan["outcome"] for plan in planned)
    document = {"runs": planned, "counts": dict(words), "dry_run": True}

    def show(console: Any, _: Any) -> None:
        made = table("Would be", "Line", "File", "Why", widest={2: 40})
        for plan in planned:
            made.add_row(plan["outcome"], str(plan["line"] or ""), clean(plan["file"]), clean(plan["why"]))
        console.print(made)
        console.print()
        told = ", ".join(f"{number} {word}" for word, number in words.items())
        console.print(f"Nothing was sent. It would be: {told}.")

    call.answer(document, show)
    return ExitCode.REFUSED if words["refused"] else ExitCode.DONE


def _planned(row: Row, journal: Journal, *, again: bool) -> dict[str, Any]:
    plan: dict[str, Any] = {"file": row.name, "line": row.line, "provenance": row.provenance, "why": ""}
    try:
        data = read_trace(row.file)
    except Refused as error:
        return {**plan, "outcome": "refused", "why": f"{error.message} {error.hint}".strip()}
    known = journal.find(digest(data), digest_of_provenance(row.provenance))
    if known is not None and not again:
        why = f"acknowledged as run {known.id}; sent only if the server no longer holds it"
        return {**plan, "outcome": "skipped", "why": why, "id": known.id}
    return {**plan, "outcome": "sent"}


def _document(outcomes: Sequence[Outcome], of: int) -> dict[str, Any]:
    runs = [outcome.as_dict() for outcome in outcomes]
    return {"runs": runs, "counts": counts(outcomes), "not_tried": of - len(outcomes)}


def _ended_early(call: Call, ended: BaseException, done: int, of: int) -> ExitCode:
    """Say why it ended and how to go on."""
    if isinstance(ended, ClientError):
        call.report(ended)
    call.remark(
        f"Stopped after {done} of {of}. Run the same command again to go on: what the server acknowledged "
        "is not sent twice."
    )
    return code_for(ended)


@contextmanager
def _progress(total: int) -> Iterator[Callable[[], None]]:
    """A progress bar on stderr when that is a terminal; otherwise silence."""
    console = remarks()
    if not console.is_terminal:
        yield lambda: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("Sending"), BarColumn(bar_width=40), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=total)
        yield lambda: bar.advance(task)
