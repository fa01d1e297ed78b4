"""Corrections of the catalogue: propose, look at, confirm, reject; and the history of what was done."""

from pathlib import Path
from typing import Annotated

import typer

from client_cli.catalogue_file import propose_file
from client_cli.commands.catalogue import app, find_model
from client_cli.commands.common import Call, answering
from client_cli.exits import ExitCode

__all__ = ["app"]
CatalogueFile = Annotated[
    Path, typer.Argument(metavar="FILE.toml", exists=True, dir_okay=False, readable=True, help="Catalogue.")
]
Number = Annotated[int, typer.Argument(metavar="NUMBER", min=1, help="Number of the proposal.")]


@app.command("propose")
@answering
def propose(
    call: Call,
    file: CatalogueFile,
    *,
    why: Annotated[str, typer.Option(help="What is wrong with the catalogue as it is.")],
) -> ExitCode:
    """Propose what a file says otherwise than the catalogue, for another curator to confirm."""
    from client_cli.render.proposals import show_proposed

    with call.session() as session:
        call.answer(propose_file(session, file, why), show_proposed)
    return ExitCode.DONE


@app.command("proposals")
@answering
def proposals(
    call: Call,
    *,
    model: Annotated[str | None, typer.Option(help="Only of this pump model.")] = None,
    state: Annotated[str | None, typer.Option(help="open, confirmed or rejected.")] = None,
) -> ExitCode:
    """List what was proposed, newest first."""
    from client_cli.render.proposals import show_proposals

    with call.session() as session:
        call.answer(session.collect("proposals", {"model": model, "state": state}), show_proposals)
    return ExitCode.DONE


@app.command("proposal")
@answering
def proposal(call: Call, number: Number) -> ExitCode:
    """Show one proposal: what it would change, or what it did."""
    from client_cli.render.proposals import show_proposal

    with call.session() as session:
        call.answer(session.get(f"proposals/{number}"), show_proposal)
    return ExitCode.DONE


@app.command("confirm")
@answering
def confirm(call: Call, number: Number) -> ExitCode:
    """Confirm what another curator proposed; units, runs and answers follow."""
    from client_cli.render.proposals import show_proposal

    with call.session() as session:
        done = session.post(f"proposals/{number}/confirm", {}, repeatable=True).document
        call.answer(done, show_proposal)
    return ExitCode.DONE


@app.command("reject")
@answering
def reject(
    call: Call,
    number: Number,
    *,
    reason: Annotated[str, typer.Option(help="What speaks against it; it stays on record.")],
) -> ExitCode:
    """Turn a proposal down, your own too."""
    from client_cli.render.proposals import show_proposal

    with call.session() as session:
        done = session.post(f"proposals/{number}/reject", {"reason": reason}, repeatable=False).document
        call.answer(done, show_proposal)
    return ExitCode.DONE


@app.command("history")
@answering
def history(
    call: Call,
    model: Annotated[str, typer.Argument(metavar="MODEL", help="Name the pump is sold under.")],
    *,
    rows: Annotated[int, typer.Option(min=1, max=500, help="How many of the newest.")] = 50,
) -> ExitCode:
    """Tell who changed a pump model's revisions, spans and schemes, when, and from what to what."""
    from client_cli.render.proposals import show_history

    with call.session() as session:
        found = find_model(session, model)
        call.answer(session.get(f"pump-models/{found['id']}/history", {"page_size": rows}), show_history)
    return ExitCode.DONE
