"""Questions that hold pumps against needs and claims: `settings` and `claims`."""

from functools import partial
from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.commands.comparing import (
    ElevationOption,
    ModeOption,
    PowerOption,
    ProgrammeOption,
    RateMargin,
    VacuumMargin,
    plain,
)
from client_cli.commands.questions import Model
from client_cli.commands.when import AsOf, EditionOption, EveryRow
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode

Range = Annotated[str | None, typer.Option(metavar="RANGE", help="Cycle rate in cycles/min, as in 70..")]


@answering
def settings(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Annotated[
        str | None, typer.Argument(metavar="[MODEL]", help="Name the pump is sold under; every pump without.")
    ] = None,
    *,
    rate: Range = None,
    vacuum: Annotated[
        str | None, typer.Option(metavar="RANGE", help="Peak vacuum in mmHg, as in 200..240")
    ] = None,
    need: Annotated[
        list[str] | None, typer.Option(metavar="METRIC=RANGE", help="Any metric, as in duty_factor=..0.6")
    ] = None,
    like: Annotated[
        str | None, typer.Option(metavar="OLD:MODE:LEVEL", help="A revision's setting to be like.")
    ] = None,
    like_model: Annotated[str | None, typer.Option(help="The pump of that setting, if another one.")] = None,
    revision: Annotated[str | None, typer.Option(help="Only this revision.")] = None,
    mode: ModeOption = None,
    programme: ProgrammeOption = None,
    power: PowerOption = None,
    elevation: ElevationOption = None,
    rig: Annotated[str | None, typer.Option(help="Only this rig.")] = None,
    rate_margin: RateMargin = None,
    vacuum_margin: VacuumMargin = None,
    most: Annotated[int | None, typer.Option(metavar="N", help="List so many settings, up to 200.")] = None,
    every: EveryRow = False,
    as_of: AsOf = None,
    edition: EditionOption = None,
) -> ExitCode:
    """Find settings that meet a need, or that are like an old one."""
    from client_cli.render.matches import show_settings

    asked = {
        "model": model, "rate": rate, "vacuum": vacuum, "like": like, "like_model": like_model,
        "revision": revision, "mode": mode, "programme": programme, "power": power, "rig": rig,
        "elevation": elevation,
        "rate_margin": plain(rate_margin), "vacuum_margin": plain(vacuum_margin),
        "most": most, "as_of": as_of, "edition": edition, **_needs(need or []),
    }  # fmt: skip
    with call.session() as session:
        call.answer(
            session.get("settings-matches", asked), partial(show_settings, every=every or most is not None)
        )
    return ExitCode.DONE


@answering
def claims(
    call: Call,
    model: Model,
    *,
    revision: Annotated[str | None, typer.Option(help="Only this revision.")] = None,
    elevation: ElevationOption = None,
    as_of: AsOf = None,
    edition: EditionOption = None,
) -> ExitCode:
    """Check what is claimed of a pump against what clinics measure."""
    from client_cli.render.claims import show_claims

    asked = {
        "model": model, "revision": revision, "elevation": elevation, "as_of": as_of, "edition": edition,
    }  # fmt: skip
    with call.session() as session:
        call.answer(session.get("claims", asked), show_claims)
    return ExitCode.DONE


def _needs(said: list[str]) -> dict[str, str]:
    """Raises WrongUse for what is not METRIC=RANGE."""
    needs: dict[str, str] = {}
    for text in said:
        metric, parted, wanted = text.partition("=")
        if not (parted and metric.strip() and wanted.strip()):
            raise WrongUse(f"'{text}' is not METRIC=RANGE.", "Write it like duty_factor=..0.6")
        needs[metric.strip()] = wanted.strip()
    return needs
