"""Errors in words: what is wrong, where, and what to do."""

from collections.abc import Iterator

from rich.console import Console
from rich.text import Text

from client_cli.errors import ClientError, Problem
from client_cli.manifest import ManifestError
from client_cli.render.console import indented
from client_cli.text import clean


def details(problem: Problem) -> Iterator[str]:
    """The particulars of a problem document, one line each: fields, lines, nearest names.

    What its detail has said already is not said twice.
    """
    for error in problem.errors:
        place, message = _place(error), clean(error.get("message", ""))
        if place and f"{place}:" in problem.detail:
            continue
        parts = [place, "" if message in problem.detail else message]
        if parts[1] or not _goes_without_saying(error, problem):
            yield ": ".join(part for part in parts if part)
    if problem.nearest:
        yield f"Nearest names: {', '.join(problem.nearest)}"


def _goes_without_saying(error: dict[str, object], problem: Problem) -> bool:
    """Whether naming the place adds nothing: the whole trace, or a field that the detail names."""
    place = _place(error)
    field = "" if error.get("line") is not None else place.replace("_", " ")
    return not place or place == "trace" or bool(field and field in problem.detail.replace("_", " "))


def _place(error: dict[str, object]) -> str:
    if error.get("line") is not None:
        return f"line {clean(error['line'])}"
    return clean(error.get("field") or "")


def show_error(console: Console, error: ClientError) -> None:
    """An error with its code, its place and its advice."""
    code = f" ({error.problem.code})" if error.problem and error.problem.code else ""
    console.print(Text.assemble((f"Error{code}: ", "bold red"), clean(error.message)))
    if isinstance(error, ManifestError):
        for problem in error.problems:
            indented(console, f"line {problem.line}: {problem.message}")
    if error.problem:
        for detail in details(error.problem):
            indented(console, detail)
    if error.hint:
        console.print(Text.assemble(("What to do: ", "bold"), clean(error.hint)))
    if error.problem and error.problem.status >= 500 and error.problem.request_id:
        console.print(Text(f"Request: {error.problem.request_id}", style="dim"))
