"""Questions that hold builds against each other: `compare` and `swap`."""

from functools import partial
from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.commands.questions import Model
from client_cli.commands.when import AsOf, EditionOption, EveryRow
from client_cli.exits import ExitCode

Old = Annotated[
    str, typer.Argument(metavar="OLD", help="A revision, unit:SERIAL or firmware:TAG to start from.")
]
New = Annotated[str, typer.Argument(metavar="NEW", help="The same, to hold against it.")]
ModeOption = Annotated[str | None, typer.Option(help="stimulation or expression.")]
ProgrammeOption = Annotated[str | None, typer.Option(help="Only this programme.")]
LevelOption = Annotated[str | None, typer.Option(help="Only this level.")]
PowerOption = Annotated[str | None, typer.Option(help="mains or battery.")]
ElevationOption = Annotated[
    str | None,
    typer.Option(metavar="BAND", help="Only this band of elevation: low, middle, high, or metres."),
]
RateMargin = Annotated[
    float | None, typer.Option(help="How much of the cycle rate matters, in per cent (5).")
]
VacuumMargin = Annotated[float | None, typer.Option(help="How much vacuum matters, in mmHg (10).")]
MetricOption = Annotated[
    str | None, typer.Option(help="One metric, or `all`; else rate, peak and residual vacuum.")
]


@answering
def compare(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Model,
    old: Old,
    new: New,
    *,
    mode: ModeOption = None,
    programme: ProgrammeOption = None,
    level: LevelOption = None,
    metric: MetricOption = None,
    rig: Annotated[str | None, typer.Option(help="Only this rig.")] = None,
    power: PowerOption = None,
    elevation: ElevationOption = None,
    rate_margin: RateMargin = None,
    vacuum_margin: VacuumMargin = None,
    as_of: AsOf = None,
    edition: EditionOption = None,
) -> ExitCode:
    """Say setting by setting whether two builds are the same."""
    from client_cli.render.comparisons import show_comparison

    asked = {
        "model": model, "old": old, "new": new, "mode": mode, "programme": programme, "level": level,
        "metric": metric, "rig": rig, "power": power, "elevation": elevation,
        "rate_margin": plain(rate_margin), "vacuum_margin": plain(vacuum_margin),
        "as_of": as_of, "edition": edition,
    }  # fmt: skip
    with call.session() as session:
        call.answer(session.get("comparisons", asked), show_comparison)
    return ExitCode.DONE


@answering
def swap(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Model,
    old: Old,
    new: New,
    *,
    part: Annotated[str, typer.Option(help="protector, valve, tubing, flange or load.")],
    old_part: Annotated[
        str | None, typer.Option(help="Which of them belongs to OLD (else the one most used with it).")
    ] = None,
    new_part: Annotated[str | None, typer.Option(help="Which of them belongs to NEW.")] = None,
    mode: ModeOption = None,
    programme: ProgrammeOption = None,
    level: LevelOption = None,
    metric: MetricOption = None,
    power: PowerOption = None,
    elevation: ElevationOption = None,
    every: EveryRow = False,
    as_of: AsOf = None,
    edition: EditionOption = None,
) -> ExitCode:
    """Split a difference between a part and the base that bears it."""
    from client_cli.render.swaps import show_swap

    asked = {
        "model": model, "old": old, "new": new, "part": part, "old_part": old_part, "new_part": new_part,
        "mode": mode, "programme": programme, "level": level, "metric": metric, "power": power,
        "elevation": elevation, "as_of": as_of, "edition": edition,
    }  # fmt: skip
    with call.session() as session:
        call.answer(session.get("part-swaps", asked), partial(show_swap, every=every))
    return ExitCode.DONE


def plain(value: float | None) -> str | None:
    """A number as a query writes it."""
    return None if value is None else f"{value:g}"
