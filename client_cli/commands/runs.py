"""Stored runs: `runs`, `run`, `cycles` and `withdraw`."""

from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.exits import ExitCode

RunId = Annotated[str, typer.Argument(metavar="ID", help="The run's id, as `runs` shows it.")]


@answering
def runs(  # noqa: PLR0913 - one option a filter
    call: Call,
    *,
    model: Annotated[str | None, typer.Option(help="Only this pump model.")] = None,
    revision: Annotated[str | None, typer.Option(help="Only this revision.")] = None,
    serial: Annotated[str | None, typer.Option(help="Only this unit.")] = None,
    clinic: Annotated[str | None, typer.Option(help="Only this clinic.")] = None,
    gauge: Annotated[str | None, typer.Option(help="Only this gauge.")] = None,
    mode: Annotated[str | None, typer.Option(help="stimulation or expression.")] = None,
    level: Annotated[str | None, typer.Option(help="Only this level.")] = None,
    state: Annotated[str | None, typer.Option(help="accepted, held or withdrawn.")] = None,
    mine: Annotated[bool, typer.Option("--mine", help="Only your own clinic's runs.")] = False,
    limit: Annotated[int, typer.Option(min=1, help="At most this many.")] = 50,
) -> ExitCode:
    """List runs."""
    from client_cli.render.runs import show_runs

    asked = {
        "model": model,
        "revision": revision,
        "serial": serial,
        "clinic": clinic,
        "gauge": gauge,
        "mode": mode,
        "level": level,
        "state": state,
        "mine": "true" if mine else None,
    }
    with call.session() as session:
        call.answer(session.collect("runs", asked, limit), show_runs)
    return ExitCode.DONE


EditionOption = Annotated[
    int | None, typer.Option(min=1, help="Under this edition of the metrics instead of the current one.")
]


@answering
def run(
    call: Call,
    run_id: RunId,
    *,
    edition: EditionOption = None,
    parts: Annotated[bool, typer.Option("--parts", help="Show what each uncertainty is made of.")] = False,
) -> ExitCode:
    """Show one run: provenance, measurements and findings."""
    from client_cli.render.runs import show_run

    with call.session() as session:
        document = session.get(f"runs/{run_id}", {"edition": edition})
    call.answer(document, lambda console, _: show_run(console, document, parts=parts))
    return ExitCode.DONE


@answering
def cycles(call: Call, run_id: RunId, *, edition: EditionOption = None) -> ExitCode:
    """Show a run's single cycles with their losses."""
    from client_cli.render.cycles import show_cycles

    with call.session() as session:
        call.answer(session.collect(f"runs/{run_id}/cycles", {"edition": edition}), show_cycles)
    return ExitCode.DONE


@answering
def withdraw(
    call: Call,
    run_id: RunId,
    *,
    reason: Annotated[str, typer.Option(help="Why it should not count; others will read this.")],
) -> ExitCode:
    """Take a run of your clinic out of the answers.

    It stays on record with your reason, and nothing is deleted.
    """
    with call.session() as session:
        answer = session.post(f"runs/{run_id}/withdraw", {"reason": reason})
    call.answer(answer.document, lambda console, _: console.print(f"Run {run_id} is withdrawn: {reason}"))
    return ExitCode.DONE
