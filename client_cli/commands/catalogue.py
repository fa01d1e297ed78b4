"""The catalogue of pump models: `catalogue load`, `show` and `list`; corrections are in `proposing`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli.catalogue_file import propose_file, read_catalogue
from client_cli.commands.common import Call, answering
from client_cli.errors import Problem, Refused, WrongUse
from client_cli.exits import ExitCode
from client_cli.text import nearest

if TYPE_CHECKING:
    from client_cli.session import Session

app = typer.Typer(help="Load and look up pump models.", no_args_is_help=True)


@app.command("load")
@answering
def load(
    call: Call,
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE.toml", exists=True, dir_okay=False, readable=True, help="Catalogue."),
    ],
    *,
    propose: Annotated[
        bool, typer.Option("--propose", help="Change nothing: propose what differs to another curator.")
    ] = False,
    why: Annotated[str | None, typer.Option(help="With --propose: what is wrong as it is.")] = None,
) -> ExitCode:
    """Load a catalogue file; loading it again changes only what differs. Curators only."""
    from client_cli.render.catalogue import show_changes

    if propose:
        return _propose(call, file, why)
    document = read_catalogue(file)
    with call.session() as session:
        call.answer(session.post("catalogue", document, repeatable=True).document, show_changes)
    return ExitCode.DONE


def _propose(call: Call, file: Path, why: str | None) -> ExitCode:
    from client_cli.render.proposals import show_proposed

    if not (why or "").strip():
        raise WrongUse("--propose needs --why.", "Say in a few words what is wrong with the catalogue.")
    with call.session() as session:
        call.answer(propose_file(session, file, why or ""), show_proposed)
    return ExitCode.DONE


@app.command("show")
@answering
def show(
    call: Call, model: Annotated[str, typer.Argument(metavar="MODEL", help="Name the pump is sold under.")]
) -> ExitCode:
    """Show one pump model: revisions, marks, serial spans and claims."""
    from client_cli.render.catalogue import show_model

    with call.session() as session:
        call.answer(session.get(f"pump-models/{find_model(session, model)['id']}"), show_model)
    return ExitCode.DONE


@app.command("list")
@answering
def list_models(
    call: Call, *, search: Annotated[str | None, typer.Option(help="Part of a name.")] = None
) -> ExitCode:
    """List the pump models."""
    from client_cli.render.catalogue import show_models

    with call.session() as session:
        call.answer(session.collect("pump-models", {"search": search}), show_models)
    return ExitCode.DONE


def find_model(session: "Session", model: str) -> dict[str, Any]:
    """The pump model of that name as the list has it. Raises Refused with the nearest names."""
    found: list[dict[str, Any]] = session.collect("pump-models", {"name": model}, limit=1)["results"]
    if not found:
        raise _unknown_model(session, model)
    return found[0]


def _unknown_model(session: "Session", model: str) -> Refused:
    """What to say of a name that is not in the catalogue, with the names nearest to it."""
    names = [str(row.get("name", "")) for row in session.rows("pump-models")]
    problem = Problem(
        404, "unknown_pump_model", f"No pump model is called {model}.", nearest=tuple(nearest(model, names))
    )
    return Refused(problem.detail, "Look at `vacuary catalogue list`.", problem)
