"""Sending traces to the registry, one after another on one connection."""

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from client_cli.errors import Fault, Problem, Refused
from client_cli.holdings import RUNS, Holdings
from client_cli.journal import Entry, Journal, digest, digest_of_provenance
from client_cli.manifest import Row
from client_cli.session import Answer, Session
from client_cli.text import clean, nearest

LARGEST_TRACE_BYTES = 20 * 1024 * 1024


@dataclass(frozen=True)
class Outcome:
    """What became of one row.

    `outcome` is accepted, held or refused by the server, `same` when the server had the run already, or
    `failed` when the server failed over it. `state` is the run's state at the server, if it is there.
    `skipped` says that it was not sent, as the server was found to hold it since an earlier upload. `read` is
    how the server read the file.
    """

    row: Row
    outcome: str
    state: str | None = None
    id: str | int | None = None
    findings: tuple[dict[str, Any], ...] = ()
    problem: Problem | None = None
    skipped: bool = False
    read: dict[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """The outcome as `--json` shows it."""
        shown: dict[str, Any] = {
            "file": self.row.written or str(self.row.file),
            "line": self.row.line,
            **({"side": self.row.provenance["side"]} if self.row.halved else {}),
            "outcome": self.outcome,
            "state": self.state,
            "id": self.id,
            "findings": list(self.findings),
            "skipped": self.skipped,
        }
        if self.problem is not None:
            shown["problem"] = self.problem.document
        return shown


def upload_rows(
    session: Session,
    rows: Iterable[Row],
    on_progress: Callable[[Outcome], None] | None = None,
    *,
    journal: Journal | None = None,
    again: bool = False,
) -> list[Outcome]:
    """Send every row and give back what became of each, in their order.

    One file is held in memory at a time. A row that is refused does not stop the others. With a `journal`,
    rows that the server acknowledged before are not sent again, unless it no longer holds them or `again` is
    true. `on_progress` hears of each outcome as soon as it is known; what it was told stays true when this
    is interrupted.

    Raises NotPermitted, Unreachable, or a Fault that concerns every row; the same call later goes on.
    """
    outcomes = []
    known = (
        None if journal is None or again else Holdings(session, rows if isinstance(rows, Sequence) else ())
    )
    for row in rows:
        outcome = _upload(session, row, journal, known)
        outcomes.append(outcome)
        if on_progress is not None:
            on_progress(outcome)
    return outcomes


def counts(outcomes: Iterable[Outcome]) -> dict[str, int]:
    """How many rows came out each way; every way is listed, also with 0."""
    counted = dict.fromkeys(("accepted", "held", "refused", "same", "failed"), 0)
    for outcome in outcomes:
        counted[outcome.outcome] += 1
    return counted


def read_trace(path: Path) -> bytes:
    """The bytes of a trace file.

    Raises Refused when it is not there, cannot be read, is empty, or is above 20 MiB.
    """
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            data = file.read(min(size, LARGEST_TRACE_BYTES) + 1)  # it may have grown since
    except (FileNotFoundError, NotADirectoryError, IsADirectoryError, ValueError) as error:
        raise _absent(path) from error
    except OSError as error:
        raise _refused_here("unreadable_file", f"The file cannot be read: {error.strerror}.") from error
    if len(data) > LARGEST_TRACE_BYTES:
        raise _refused_here(
            "too_large", "The file is above 20 MiB.", "Cut the recording: a minute a setting is ample."
        )
    if not data:
        raise _refused_here("empty_file", "The file is empty.", "Export the recording again.")
    return data


def _absent(path: Path) -> Refused:
    """What to say of a file that is not there, with the name most like it in the same folder."""
    what = "is a folder, not a file" if path.is_dir() else "is not there"
    if not path.parent.is_dir():
        return _refused_here("missing_file", f"The file {what}: there is no folder {clean(path.parent)}.")
    try:
        entries = [entry.name for entry in path.parent.iterdir() if entry.is_file()]
    except OSError:
        entries = []
    # Another number is another level or another unit, and never a slip of the pen to put right.
    there = [name for name in entries if _digits(name) == _digits(path.name)]
    names = nearest(path.name, there, most=1, alike=0.75)
    hint = f"Did you mean {clean(names[0])}?" if names else "Check its name and its folder."
    return _refused_here("missing_file", f"The file {what}.", hint)


def _digits(name: str) -> str:
    return "".join(letter for letter in name if letter.isdigit())


def _upload(session: Session, row: Row, journal: Journal | None, known: Holdings | None) -> Outcome:
    try:
        data = read_trace(row.file)
        key = (digest(data), digest_of_provenance(row.provenance))
        entry = journal.find(*key) if journal is not None and known is not None else None
        run = known.find(entry, key[0], row) if known is not None and entry is not None else None
        if run is not None:
            return Outcome(row, "same", str(run.get("state")), run["id"], findings_of(run), skipped=True)
        answer = session.post_trace(RUNS, row.file.name, data, row.provenance)
        outcome = _received(row, answer)
    except Refused as error:
        return Outcome(row, "refused", problem=_problem(error))
    except Fault as error:
        if error.problem is None:  # not about this row: every other would fail the same way
            raise
        return Outcome(row, "failed", problem=error.problem)
    if journal is not None and outcome.id is not None and outcome.state is not None:
        journal.note(*key, Entry(outcome.id, outcome.state))
    if known is not None:
        known.add(answer.document)
    return outcome


def findings_of(document: dict[str, Any]) -> tuple[dict[str, Any], ...]:
    """The findings in a run's document."""
    findings = document.get("findings")
    return tuple(item for item in findings if isinstance(item, dict)) if isinstance(findings, list) else ()


def _received(row: Row, answer: Answer) -> Outcome:
    state = answer.document.get("state")
    if not isinstance(state, str):
        raise Fault("The server's answer to an upload does not say what became of the run.")
    # After a cut connection, "had it already" may well mean the try whose answer was lost.
    fresh = (answer.status == 201 or answer.tries > 1) and state in ("accepted", "held")
    outcome = state if fresh else "same"
    read = answer.document.get("read")
    return Outcome(
        row,
        outcome,
        state,
        answer.document.get("id"),
        findings_of(answer.document),
        read=read if isinstance(read, dict) else None,
    )


def _refused_here(code: str, detail: str, hint: str = "") -> Refused:
    document = {"type": f"urn:vacuary:problem:{code}", "code": code, "detail": detail, "hint": hint}
    return Refused(detail, hint, Problem(0, code, detail, hint, document=document))


def _problem(error: Refused) -> Problem:
    return error.problem or Problem(0, "refused", error.message, error.hint)
