"""Traces on their way to the registry: `measure`, `manifest` and `upload`."""

import csv
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli import manifest as lists
from client_cli.commands.common import Call, answering, with_provenance
from client_cli.errors import Refused, WrongUse
from client_cli.exits import ExitCode
from client_cli.provenance import from_texts, missing

if TYPE_CHECKING:
    from rich.console import Console

    from client_cli.session import Session

Given = Mapping[str, str | None]
TraceFiles = Annotated[
    list[Path],
    typer.Argument(metavar="FILE...", exists=True, dir_okay=False, readable=True, help="Trace files."),
]


@answering
@with_provenance
def measure(
    call: Call,
    files: TraceFiles,
    given: Given,
    *,
    parts: Annotated[bool, typer.Option("--parts", help="Show what each uncertainty is made of.")] = False,
    keep_for: Annotated[
        str | None,
        typer.Option(metavar="GAUGE", help="Keep how the file was read as usual for this gauge of yours."),
    ] = None,
) -> ExitCode:
    """Measure traces without storing anything; this needs no account.

    A file of both sides of a double pump shows both and how unlike they pull. With --keep-for, later files of
    that gauge need no unit, rate or column; of a held trace nothing is kept.
    """
    alone = len(files) == 1
    if keep_for and not alone:
        raise WrongUse("--keep-for takes one file.", "Measure a typical file of that gauge.")
    provenance = _for_measuring(given, keep_for)
    with call.session() as session:
        measured = [_measured(call, session, file, provenance, alone=alone) for file in files]
        is_sound = measured[0].get("state") == "accepted"
        if keep_for and is_sound:
            kept = session.put(f"gauges/{keep_for}/reading", measured[0].get("usual") or {}).document
            measured[0] = {**measured[0], "kept": kept}
    document = measured[0] if alone else {"results": measured}
    call.answer(document, lambda console, _: _show_all_measured(console, files, measured, parts=parts))
    if keep_for and not is_sound:
        # A wrong unit, sign or rate is what the findings of a held trace often show.
        call.remark(f"Nothing is kept for {keep_for}: the trace is held, so it may have been read wrongly.")
    clean = all(item.get("state") == "accepted" for item in measured)
    return ExitCode.DONE if clean else ExitCode.REFUSED


def _for_measuring(given: Given, gauge: str | None) -> dict[str, Any]:
    """Provenance of a file that is only looked at: both sides are what the server shows of itself."""
    provenance = from_texts(given)
    if str(provenance.get("side", "")).casefold() == "both":
        del provenance["side"]
    return {**({"gauge": gauge} if gauge else {}), **provenance}


def _measured(
    call: Call, session: "Session", file: Path, provenance: dict[str, Any], *, alone: bool
) -> dict[str, Any]:
    """The server's document for one file; among several, a refused one does not stop the others."""
    from client_cli.upload import read_trace

    try:
        answer = session.post_trace("measure", file.name, read_trace(file), provenance or None)
    except Refused as error:
        if alone:
            raise
        call.report(error, about=str(file))
        problem = error.problem.document if error.problem else {"detail": error.message}
        return {"file": str(file), "state": "refused", "problem": problem}
    return answer.document if alone else {"file": str(file), **answer.document}


def _show_all_measured(
    console: "Console", files: Sequence[Path], measured: list[dict[str, Any]], *, parts: bool
) -> None:
    from client_cli.render.runs import show_measured

    for index, (file, document) in enumerate(zip(files, measured, strict=True)):
        if index:
            console.print()
        if document.get("state") == "refused":
            console.print(f"{file}: refused (see the error above)")
        else:
            show_measured(console, document, str(file), parts=parts)


@answering
def manifest(
    call: Call,
    files: TraceFiles,
    *,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="OUT.csv", dir_okay=False, help="File to write.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over OUT.csv if it is there.")] = False,
) -> ExitCode:
    """Write a list to fill in for `upload`.

    It has a row for each trace and a column for each provenance key. Nothing is guessed: every cell but the
    file's name is left empty for you.
    """
    # A glob over the folder catches the list itself when it is written again.
    files = [file for file in files if out is None or file.resolve() != out.resolve()]
    rows = lists.template(files, out.parent if out else Path())
    text = io.StringIO(newline="")
    csv.writer(text).writerows(rows)
    if out is not None:
        _write_new(out, text.getvalue(), force=force)
    document = {
        "manifest": str(out) if out else None,
        "columns": rows[0],
        "files": [row[0] for row in rows[1:]],
    }
    if call.as_json or out is not None:
        call.answer(document, lambda console, _: console.print(f"{out}: {len(files)} to fill in."))
    else:
        typer.echo(text.getvalue(), nl=False)
    return ExitCode.DONE


def _write_new(out: Path, text: str, *, force: bool) -> None:
    try:
        # The mark at the start tells spreadsheets that this is UTF-8.
        with out.open("w" if force else "x", encoding="utf-8-sig", newline="") as file:
            file.write(text)
    except FileExistsError as error:
        raise WrongUse(
            f"{out} is already there and may hold what somebody typed.",
            "Give another name, or --force to write over it.",
        ) from error
    except OSError as error:
        raise WrongUse(f"{out} cannot be written: {error.strerror}.") from error


@answering
@with_provenance
def upload(
    call: Call,
    files: Annotated[
        list[Path],
        typer.Argument(
            metavar="MANIFEST.csv | FILE...",
            exists=True,
            dir_okay=False,
            readable=True,
            help="A list with a column `file`, or trace files that share the options below.",
        ),
    ],
    given: Given,
    *,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Check everything here and send nothing.")
    ] = False,
    again: Annotated[bool, typer.Option("--again", help="Send also what was acknowledged before.")] = False,
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Store without asking.")] = False,
) -> ExitCode:
    """Upload a sweep from a list, or traces with options.

    First it shows how the first file of each form is read and, on a terminal, asks whether to store the runs.
    A run that is refused does not stop the others. What the server holds already is not sent again, so after
    a cut or Ctrl-C the same command goes on where it stopped. With a list, options fill its empty cells.
    """
    rows = _rows(files, given)
    from client_cli.commands import uploading

    if dry_run:
        return uploading.rehearse(call, rows, again=again)
    return uploading.send(call, rows, again=again, sure=yes)


def _rows(files: list[Path], given: Given) -> list[lists.Row]:
    """The rows to send, from a manifest or from the options. Raises WrongUse."""
    manifests = [file for file in files if lists.is_manifest(file)]
    if manifests and len(files) == 1:
        return lists.read(files[0], given)
    if manifests:
        raise WrongUse(
            f"{manifests[0]} is a list and cannot be sent along with other files.",
            "Upload the list by itself, and the other traces with options or a list of their own.",
        )
    provenance = from_texts(given)
    absent = [f"--{name.replace('_', '-')}" for name in missing(provenance)]
    if absent:
        raise WrongUse(
            f"A run needs {', '.join(absent)}.",
            "Give them as options, or upload a list made with `vacuary manifest` that has a column `file`.",
        )
    return [row for file in files for row in lists.by_side(lists.Row(file, provenance))]
