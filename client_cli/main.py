"""The entry point of `vacuary`: the commands, the options before them, and the one way out."""

import os
import sys
import traceback
from collections.abc import Sequence
from typing import Annotated

import typer

from client_cli import __version__, config
from client_cli.commands import (
    alerts,
    benches,
    comparing,
    connection,
    explain,
    export,
    gauge,
    identify,
    listing,
    matching,
    proposing,
    questions,
    runs,
    subscriptions,
    traces,
)
from client_cli.commands.common import Globals, JsonOption
from client_cli.errors import ClientError, WrongUse
from client_cli.exits import ExitCode, code_for, is_usage_error
from client_cli.text import clean

WHAT_IT_IS = "Vacuary: a shared registry of breast-pump bench runs."

app = typer.Typer(
    name="vacuary",
    pretty_exceptions_enable=False,
    rich_markup_mode="markdown",
)
for _command in (
    connection.connect,
    connection.health,
    traces.measure,
    traces.manifest,
    traces.upload,
    questions.serial,
    questions.distribution,
    comparing.compare,
    comparing.swap,
    matching.settings,
    matching.claims,
    identify.identify,
    benches.benches,
    alerts.alerts,
    listing.list_revision,
    explain.explain,
    export.export,
    runs.runs,
    runs.run,
    runs.cycles,
    runs.withdraw,
):
    app.command()(_command)
app.add_typer(gauge.app, name="gauge")
app.add_typer(subscriptions.app, name="subscriptions")
app.add_typer(proposing.app, name="catalogue")


def _print_version(value: bool) -> None:  # noqa: FBT001 - typer calls it so
    if value:
        typer.echo(f"vacuary {__version__}")
        raise typer.Exit


@app.callback(invoke_without_command=True)
def main(
    ctx: typer.Context,
    *,
    server: Annotated[
        str | None, typer.Option(metavar="URL", envvar="VACUARY_SERVER", help="Address of the server.")
    ] = None,
    token: Annotated[
        str | None, typer.Option(metavar="TOKEN", envvar="VACUARY_TOKEN", help="Your token.")
    ] = None,
    patience: Annotated[
        float,
        typer.Option(
            min=0,
            metavar="SECONDS",
            envvar="VACUARY_PATIENCE",
            help="How long to go on when the server does not answer.",
        ),
    ] = config.DEFAULT_PATIENCE_S,
    as_json: JsonOption = False,
    version: Annotated[  # noqa: ARG001 - its callback acts before the rest is read
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Vacuary: a shared registry of breast-pump bench runs.

    Server and token come from the options, from VACUARY_SERVER and VACUARY_TOKEN, or from what
    `vacuary connect` wrote. Exit codes: 0 done, 1 a fault, 2 wrong use, 3 some of the input was held or
    refused, 4 not permitted, 5 server unreachable, 6 open alerts, 130 interrupted.
    """
    ctx.obj = Globals(server, token, patience, as_json)
    if ctx.invoked_subcommand is None:
        _print_short_help(ctx)


def _print_short_help(ctx: typer.Context) -> None:
    typer.echo(f"{WHAT_IT_IS}\n\nUsage: vacuary [OPTIONS] COMMAND ...\n")
    commands = getattr(ctx.command, "commands", {})
    for name, command in commands.items():
        typer.echo(f"  {name:<14}{command.get_short_help_str(limit=64)}")
    typer.echo("\nBegin with `vacuary connect SERVER`. More: `vacuary --help`, `vacuary COMMAND --help`.")


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and give back its exit code; the console script passes that to the shell."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a terminal without a sign must not end the program
            stream.reconfigure(errors="backslashreplace")
    try:
        code = app(args=arguments, prog_name="vacuary", standalone_mode=False)
    except SystemExit as stop:
        if isinstance(stop.__context__, BrokenPipeError):  # whoever reads has read enough, as `head` does
            return int(ExitCode.DONE)
        raise
    except Exception as error:  # noqa: BLE001 - here every error becomes an exit code
        return int(_report(error))
    if code == ExitCode.INTERRUPTED and not isinstance(code, ExitCode):
        typer.echo("Stopped.", err=True)  # typer made Ctrl-C into a bare number without a word
    return int(code or ExitCode.DONE)


def _report(error: Exception) -> ExitCode:
    """Say on stderr what went wrong, and give back the exit code for it."""
    if isinstance(error, ClientError):
        _show(error)
    elif isinstance(error, typer.Abort):
        typer.echo("Stopped.", err=True)
    elif is_usage_error(error):
        ctx = getattr(error, "ctx", None)
        hint = f"See `{ctx.command_path} --help`." if ctx is not None else ""
        _show(WrongUse(error.format_message(), hint))  # type: ignore[attr-defined] # is_usage_error saw it
    else:
        _show_fault(error)
    return code_for(error)


def _show(error: ClientError) -> None:
    from client_cli.render.console import remarks
    from client_cli.render.errors import show_error

    show_error(remarks(), error)


def _show_fault(error: Exception) -> None:
    typer.echo(f"Error: a fault of the program: {type(error).__name__}: {clean(error)}", err=True)
    if os.environ.get("VACUARY_DEBUG"):
        traceback.print_exception(error)
    else:
        typer.echo("What to do: set VACUARY_DEBUG=1, run it again, and report what it prints.", err=True)
