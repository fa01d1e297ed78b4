"""Your clinic's gauges: `gauge declare`, `gauge list` and `gauge reading`."""

import re
from typing import Annotated, Any

import typer

from client_cli.commands.common import Call, answering
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode
from client_cli.text import clean

_CALIBRATION_KEYS = ("on", "offset", "gain", "uncertainty", "source")
_BETWEEN = re.compile(rf",\s*(?=(?:{'|'.join(_CALIBRATION_KEYS)})\s*=)")

app = typer.Typer(help="Declare and list gauges, and how their files are read.", no_args_is_help=True)


@app.command("declare")
@answering
def declare(
    call: Call,
    code: Annotated[str, typer.Argument(metavar="CODE", help="Your clinic's own code for the gauge.")],
    *,
    gauge_model: Annotated[str, typer.Option(help="What the gauge is.")],
    measuring_range: Annotated[
        str, typer.Option("--range", help="Range with its unit, such as '0..400 mmHg' or '-60..0 kPa'.")
    ],
    resolution: Annotated[str, typer.Option(help="Smallest step, such as '0.1 mmHg'.")],
    accuracy: Annotated[str, typer.Option(help="'0.5 % FS', '1 % reading', or '2 mmHg'.")],
    calibration: Annotated[
        list[str] | None,
        typer.Option(
            help="'on=2026-02-01, offset=0.3, gain=1.002, uncertainty=0.4, source=...', in mmHg (repeatable)."
        ),
    ] = None,
) -> ExitCode:
    """Declare a gauge, once per clinic and gauge; declaring it again replaces what was said."""
    from client_cli.render.gauges import show_gauge

    document = {
        "gauge_model": gauge_model,
        "range": measuring_range,
        "resolution": resolution,
        "accuracy": accuracy,
        "calibrations": [calibration_fields(text) for text in calibration or []],
    }
    with call.session() as session:
        call.answer(session.put(f"gauges/{code}", document).document, show_gauge)
    return ExitCode.DONE


@app.command("list")
@answering
def list_gauges(
    call: Call, *, clinic: Annotated[str | None, typer.Option(help="Only this clinic's.")] = None
) -> ExitCode:
    """List the gauges that are declared."""
    from client_cli.render.gauges import show_gauges

    with call.session() as session:
        call.answer(session.collect("gauges", {"clinic": clinic}), show_gauges)
    return ExitCode.DONE


@app.command("reading")
@answering
def reading(
    call: Call,
    code: Annotated[str, typer.Argument(metavar="CODE", help="Your clinic's own code for the gauge.")],
    *,
    forget: Annotated[bool, typer.Option("--forget", help="Keep it no longer.")] = False,
) -> ExitCode:
    """Show how files of a gauge are usually read; `vacuary measure FILE --keep-for CODE` keeps it.

    It counts where neither a file nor its upload says otherwise. Stored runs keep their meaning.
    """
    from client_cli.render.readings import show_kept

    with call.session() as session:
        if forget:
            session.delete(f"gauges/{code}/reading")
            call.answer(
                {"gauge": code, "kept": False},
                lambda console, _: console.print(f"Nothing is kept for gauge {code} any more."),
            )
        else:
            call.answer(session.get(f"gauges/{code}/reading"), show_kept)
    return ExitCode.DONE


def calibration_fields(text: str) -> dict[str, Any]:
    """A calibration in words as its fields. Raises WrongUse naming the part that is not understood."""
    fields: dict[str, Any] = {}
    for part in _BETWEEN.split(text.strip()):
        key, equals, value = (piece.strip() for piece in part.partition("="))
        if not equals or key not in _CALIBRATION_KEYS or not value:
            raise WrongUse(
                f"--calibration: {clean(part) or 'an empty text'} is not understood.",
                "Write on=DATE, offset=, gain=, uncertainty= and source=; pressures in mmHg.",
            )
        fields[key] = value if key in ("on", "source") else _number(value)
    return fields


def _number(text: str) -> float | str:
    """The number; what is none goes as it is, and the server says what is wrong with it."""
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text
