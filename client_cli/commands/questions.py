"""Questions to the registry: `serial` and `distribution`."""

from functools import partial
from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.commands.when import AsOf, EditionOption, EveryRow
from client_cli.exits import ExitCode

Model = Annotated[str, typer.Argument(metavar="MODEL", help="Name the pump is sold under.")]


@answering
def serial(
    call: Call,
    model: Model,
    first: Annotated[str, typer.Argument(metavar="FIRST", help="Serial, or the first of a range.")],
    last: Annotated[str | None, typer.Argument(metavar="[LAST]", help="The last of a range.")] = None,
) -> ExitCode:
    """Say which revision a serial, or a range of serials, belongs to.

    Type it as you have it: LK000123, "lk 000-123", LK000001-4999, "LK000001 to LK004999", or LK0001.. for
    all that begin so. What was understood is told first.
    """
    from client_cli.render.serials import show_serials

    with call.session() as session:
        asked = {"model": model, "first": first, "last": last}
        call.answer(session.get("serials", asked), show_serials)
    return ExitCode.DONE


@answering
def distribution(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Model,
    *,
    revision: Annotated[str | None, typer.Option(help="Only this revision.")] = None,
    mode: Annotated[str | None, typer.Option(help="stimulation or expression.")] = None,
    programme: Annotated[str | None, typer.Option(help="Only this programme.")] = None,
    level: Annotated[str | None, typer.Option(help="Only this level.")] = None,
    metric: Annotated[str | None, typer.Option(help="Only this metric, such as peak_vacuum.")] = None,
    rig: Annotated[str | None, typer.Option(help="Only this rig, or a part of it.")] = None,
    power: Annotated[str | None, typer.Option(help="mains or battery.")] = None,
    elevation: Annotated[
        str | None,
        typer.Option(metavar="BAND", help="Only this band of elevation: low, middle, high, or metres."),
    ] = None,
    every: EveryRow = False,
    as_of: AsOf = None,
    edition: EditionOption = None,
) -> ExitCode:
    """Show how a pump model's revisions behave at each setting."""
    from client_cli.render.distributions import show_distribution

    asked = {
        "model": model, "revision": revision, "mode": mode, "programme": programme, "level": level,
        "metric": metric, "rig": rig, "power": power, "elevation": elevation,
        "as_of": as_of, "edition": edition,
    }  # fmt: skip
    with call.session() as session:
        call.answer(session.get("distributions", asked), partial(show_distribution, every=every))
    return ExitCode.DONE
