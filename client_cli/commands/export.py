"""`export`: an answer, or all measurements of a pump model, as a file."""

import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli.commands.common import Call, answering
from client_cli.commands.comparing import ElevationOption
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode

if TYPE_CHECKING:
    from client_cli.export import Advance, Fetched
    from client_cli.session import Session

STDOUT = "-"


class Form(StrEnum):
    """What kind of file."""

    CSV = "csv"
    PARQUET = "parquet"


@answering
def export(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Annotated[
        str | None,
        typer.Argument(metavar="[MODEL]", help="Name the pump is sold under; not for benches and rounds."),
    ] = None,
    *,
    form: Annotated[Form, typer.Option("--format", help="Kind of file.")] = Form.CSV,
    of: Annotated[
        str, typer.Option(metavar="TABLE", help="measurements, distributions, serials, benches, ...")
    ] = "measurements",
    output: Annotated[
        str | None, typer.Option("--output", "-o", metavar="FILE", help="File to write; - is stdout.")
    ] = None,
    revision: Annotated[str | None, typer.Option(help="Only this revision.")] = None,
    mode: Annotated[str | None, typer.Option(help="stimulation or expression.")] = None,
    level: Annotated[str | None, typer.Option(help="Only this level.")] = None,
    metric: Annotated[str | None, typer.Option(help="Only this metric, such as peak_vacuum.")] = None,
    rig: Annotated[str | None, typer.Option(help="Only this rig.")] = None,
    elevation: ElevationOption = None,
    where: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=VALUE", help="Anything else the table is asked with: state=any."),
    ] = None,
    bom: Annotated[
        bool, typer.Option("--bom", help="CSV: mark the file as UTF-8, as some spreadsheets need.")
    ] = False,
    force: Annotated[bool, typer.Option("--force", help="Write over FILE if it is there.")] = False,
) -> ExitCode:
    """Write an answer, or all measurements of a pump model, to a file.

    A CSV file gets its data dictionary beside it; Parquet carries it inside. The digest printed is the
    SHA-256 of the file, proven on arrival: print it under a figure, and it names the very table.
    """
    if output == STDOUT and call.as_json:
        raise WrongUse("--json and --output - both write to stdout.", "Give a file to --output.")
    narrowed = {
        "revision": revision, "mode": mode, "level": level, "metric": metric, "rig": rig,
        "elevation": elevation,
    }  # fmt: skip
    asked = {"model": model, "of": of, **narrowed, **_pairs(where or [])}
    marked = {"bom": "true"} if bom and form is Form.CSV else {}
    query = {**asked, "format": form.value, **marked}
    with call.session() as session:
        if output == STDOUT:
            _to_stdout(call, session, query)
        else:
            path = Path(output) if output else Path(_file_name(model, of, form))
            call.answer(_to_file(session, query, path, force=force), _show)
    return ExitCode.DONE


def _to_stdout(call: Call, session: "Session", query: dict[str, Any]) -> None:
    from client_cli.export import fetch, to_stdout

    with tempfile.TemporaryFile() as held:
        with _progress() as advance:
            fetched = fetch(session, "exports", query, held, advance)
        to_stdout(held)
    call.remark(f"{fetched.rows} rows, {fetched.size} bytes, SHA-256 {fetched.digest}")


def _to_file(session: "Session", query: dict[str, Any], path: Path, *, force: bool) -> dict[str, Any]:
    """Write the table, and for CSV its dictionary, which appears first so that no table lies there alone."""
    from client_cli.export import appearing, fetch

    with appearing(path, force=force) as file, _progress() as advance:
        fetched = fetch(session, "exports", query, file, advance)
        beside = _dictionary(session, query, fetched, path, force=force) if query["format"] == "csv" else None
    return {
        "file": str(path),
        "rows": fetched.rows,
        "digest": fetched.digest,
        "edition": fetched.edition,
        "as_of": fetched.as_of,
        "bytes": fetched.size,
        "dictionary": str(beside) if beside else None,
    }


def _dictionary(
    session: "Session", query: dict[str, Any], fetched: "Fetched", path: Path, *, force: bool
) -> Path:
    from client_cli.export import appearing, fetch

    beside = path.with_name(f"{path.stem}.dictionary.csv")
    asked = {"of": query["of"], "format": "csv", "edition": fetched.edition, "bom": query.get("bom")}
    with appearing(beside, force=force) as file:
        fetch(session, "exports/dictionary", asked, file, lambda size, total: None)  # noqa: ARG005
    return beside


def _show(console: Any, document: dict[str, Any]) -> None:
    basis = f"edition {document['edition']}, as of {document['as_of']}"
    rows = "1 row" if document["rows"] == 1 else f"{document['rows']} rows"
    console.print(f"{document['file']}: {rows}, {basis}.")
    if not document["rows"]:
        console.print("Nothing fits what was asked; check revision, setting, rig and times.")
    if document["dictionary"]:
        console.print(f"{document['dictionary']}: what its columns and metrics are.")
    console.print(f"SHA-256 {document['digest']}")


def _pairs(where: list[str]) -> dict[str, str]:
    pairs = {}
    for said in where:
        name, sign, value = said.partition("=")
        if not sign or not name.strip():
            raise WrongUse(f"--where {said} is not NAME=VALUE.", "For example: --where state=any")
        pairs[name.strip()] = value.strip()
    return pairs


def _file_name(model: str | None, of: str, form: Form) -> str:
    plain = re.sub(r"[^\w]+", "-", f"{model or ''} {of}".casefold()).strip("-")[:100]
    return f"{plain or 'export'}.{form.value}"


@contextmanager
def _progress() -> "Iterator[Advance]":
    """Bytes on stderr when that is a terminal; otherwise silence."""
    from client_cli.render.console import remarks

    console = remarks()
    if not console.is_terminal:
        yield lambda size, total: None  # noqa: ARG005
        return
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

    columns = (TextColumn("Fetching"), BarColumn(bar_width=40), DownloadColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda size, total: bar.update(task, completed=size, total=total)
