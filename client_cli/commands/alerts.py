"""What stands out: `alerts`, once or for as long as somebody watches."""

from typing import Annotated

import typer

from client_cli.commands.common import Call, answering
from client_cli.errors import WrongUse
from client_cli.exits import ExitCode


@answering
def alerts(  # noqa: PLR0913 - one option a filter
    call: Call,
    *,
    model: Annotated[str | None, typer.Option(help="Only this pump model.")] = None,
    clinic: Annotated[str | None, typer.Option(help="Only this clinic.")] = None,
    rule: Annotated[str | None, typer.Option(help="Only this rule, such as gauge_off.")] = None,
    severity: Annotated[str | None, typer.Option(help="At least note, caution or urgent.")] = None,
    state: Annotated[str | None, typer.Option(help="open, raised, seen, settled or dismissed.")] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Go on and tell what is new, until Ctrl-C.")] = False,
    every: Annotated[float, typer.Option(min=1, help="With --watch: seconds between two looks.")] = 30,
    fail_on_alert: Annotated[
        bool, typer.Option("--fail-on-alert", help="End with exit code 6 when one of these is open.")
    ] = False,
) -> ExitCode:
    """List what stands out: units, gauges and builds that are off.

    With --watch it shows the open ones and then each that is new or changes; with --json each is a line.
    """
    from client_cli.render.alerts import is_open, show_alerts
    from client_cli.watching import Watch

    asked = {"model": model, "clinic": clinic, "rule": rule, "severity": severity, "state": state}
    with call.session() as session:
        if watch:
            return Watch(call, session, asked, every, stop_at_open=fail_on_alert).run()
        document = session.collect("alerts", asked)
    call.answer(document, show_alerts)
    standing = any(is_open(alert) for alert in document["results"])
    return ExitCode.OPEN_ALERTS if fail_on_alert and standing else ExitCode.DONE


def known_channel(channel: str) -> str:
    """The channel in small letters. Raises WrongUse for one that is none."""
    found = channel.lower()
    if found not in ("webhook", "email", "feed"):
        raise WrongUse(f"There is no channel '{channel}'.", "Say webhook, email or feed.")
    return found
