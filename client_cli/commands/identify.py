"""Which revision is the pump in hand: `identify`, as one call with options or as a short dialogue."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from client_cli.commands.common import Call, answering, with_keys
from client_cli.commands.questions import Model
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode
from client_cli.provenance import KEYS, from_texts, typed

# What may be said of all traces together; mode and level may differ from one to the next.
_OWN = ("mode", "level")
_NOT_OF_A_TRACE = (*_OWN, "pump_model", "serial", "revision", "firmware", "operator", "note")
_SHARED = tuple(key for key in KEYS if key.name not in _NOT_OF_A_TRACE)


@answering
@with_keys(_SHARED)
def identify(  # noqa: PLR0913 - one parameter an option
    call: Call,
    model: Model,
    given: Mapping[str, str | None],
    *,
    serial: Annotated[str | None, typer.Option(help="Serial number on the pump's label.")] = None,
    mark: Annotated[
        list[str] | None,
        typer.Option(metavar="WORDS", help="What it looks like, as in housing=amber or 'domed membrane'."),
    ] = None,
    firmware: Annotated[str | None, typer.Option(help="Firmware version, if the pump shows it.")] = None,
    purchased: Annotated[
        str | None, typer.Option(metavar="DATE", help="Day of purchase, such as 2025-03-02.")
    ] = None,
    trace: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE",
            exists=True,
            dir_okay=False,
            readable=True,
            help="A trace of the pump; may come several times.",
        ),
    ] = None,
    mode: Annotated[
        list[str] | None, typer.Option(help="Mode of the traces: one for all, or one each in their order.")
    ] = None,
    level: Annotated[
        list[str] | None, typer.Option(help="Level of the traces: one for all, or one each in their order.")
    ] = None,
) -> ExitCode:
    """Say which revision a pump in hand is, and what to ask next.

    Give whatever is known, in any mixture; nothing is stored. On a terminal, without options, it asks one
    question at a time; Enter passes a question over.
    """
    from client_cli.commands.identifying import Pump, converse, is_terminal, tell

    files = trace or []
    pump = Pump(
        model=model,
        said={"serial": serial, "firmware": firmware, "purchased": purchased},
        marks=list(mark or []),
        traces=_traces(files, {"mode": mode or [], "level": level or []}, from_texts(given)),
    )
    with call.session() as session:
        if pump.is_blank and not call.as_json and is_terminal():
            return converse(call, session, pump)
        return tell(call, pump.ask(session))


def _traces(
    files: Sequence[Path], own: Mapping[str, list[str]], shared: Mapping[str, Any]
) -> list[tuple[Path, dict[str, Any]]]:
    """Each file with what is said of it. Raises WrongUse where modes or levels do not go with the files."""
    if not files:
        if any(own.values()) or shared:
            raise WrongUse("What was said of a trace goes with no file.", "Add --trace FILE.")
        return []
    for name, values in own.items():
        if len(values) not in (1, len(files)):
            raise WrongUse(
                f"{len(files)} traces need --{name} once, or {len(files)} times in their order.",
                "For example: --trace a.csv --level 3 --trace b.csv --level 5 --mode expression",
            )
    made = []
    for place, file in enumerate(files):
        each = {name: values[place if len(values) > 1 else 0] for name, values in own.items()}
        made.append((file, {**shared, **{name: typed(name, text) for name, text in each.items()}}))
    return made
