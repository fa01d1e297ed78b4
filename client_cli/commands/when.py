"""Options of every answer: under which edition, and as of when, so that a printed page can be made again."""

from typing import Annotated

import typer

AsOf = Annotated[
    str | None,
    typer.Option(
        "--as-of", metavar="TIME", help="As of a past time, as printed below an answer: 2026-03-01T12:00Z"
    ),
]
EditionOption = Annotated[
    int | None, typer.Option("--edition", metavar="N", help="Under another edition of the metrics.")
]
EveryRow = Annotated[bool, typer.Option("--all", help="Show every row.")]
