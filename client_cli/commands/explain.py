"""`explain`: why something did or did not raise an alert."""

from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode


@answering
def explain(
    call: Call,
    what: Annotated[
        str | None, typer.Argument(metavar="[RUN | MODEL]", help="A run's number, or a pump model's name.")
    ] = None,
    serial: Annotated[
        str | None, typer.Argument(metavar="[SERIAL]", help="With a model: the unit's serial.")
    ] = None,
    *,
    gauge: Annotated[
        str | None, typer.Option(metavar="CLINIC/CODE", help="A gauge instead of a run or a unit.")
    ] = None,
) -> ExitCode:
    """Say why a run, a unit or a gauge did or did not raise an alert."""
    from client_cli.render.explained import show_explanation

    with call.session() as session:
        call.answer(session.get("explanations", _asked(what, serial, gauge)), show_explanation)
    return ExitCode.DONE


def _asked(what: str | None, serial: str | None, gauge: str | None) -> dict[str, str | None]:
    if gauge and not what:
        return {"gauge": gauge}
    if what and serial and not gauge:
        return {"model": what, "serial": serial}
    if what and what.isascii() and what.isdigit() and not gauge:
        return {"run": what}
    raise WrongUse("Give a run's number, or a model and a serial, or --gauge CLINIC/CODE.")
