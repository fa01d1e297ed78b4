"""From an alert to a revision: `list-revision`."""

from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode


@answering
def list_revision(
    call: Call,
    alert: Annotated[int, typer.Argument(metavar="ALERT", help="Number of the alert.")],
    label: Annotated[str, typer.Argument(metavar="LABEL", help="What the new revision is called.")],
    *,
    order: Annotated[int | None, typer.Option(min=1, help="Its place; by default after the old one.")] = None,
    mark: Annotated[list[str] | None, typer.Option(metavar="NAME=VALUE", help="A visible mark.")] = None,
    declared: Annotated[
        bool, typer.Option("--declared", help="Spans outweigh what clinics said of single units.")
    ] = False,
) -> ExitCode:
    """List the revision that an alert tells of, with its serial spans. Another curator confirms it."""
    from client_cli.render.listing import show_listing

    body = {
        "label": label,
        "order": order,
        "marks": dict(_parted(one) for one in mark or ()),
        "basis": "declared" if declared else "observed",
    }
    with call.session() as session:
        call.answer(session.post(f"alerts/{alert}/list", body).document, show_listing)
    return ExitCode.DONE


def _parted(mark: str) -> tuple[str, str]:
    name, equals, value = mark.partition("=")
    if not equals or not name.strip() or not value.strip():
        raise WrongUse(f"'{mark}' is no mark.", "Write it as NAME=VALUE, such as housing=amber.")
    return name.strip(), value.strip()
