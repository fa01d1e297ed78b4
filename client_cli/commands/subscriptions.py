"""Be told of alerts: `subscriptions add`, `list`, `remove`, `replay`, `rotate` and `test`."""

import time
from typing import TYPE_CHECKING, Annotated, Any

import typer

from client_cli.commands.alerts import known_channel
from client_cli.commands.common import Call, answering
from client_cli.exits import ExitCode

if TYPE_CHECKING:
    from client_cli.session import Session

SubscriptionId = Annotated[
    int, typer.Argument(metavar="ID", min=1, help="The number that `subscriptions list` shows.")
]
LOOK_AGAIN_S = 1.0
sleep = time.sleep  # tests put another one here

app = typer.Typer(help="Be told of alerts by webhook, e-mail or feed.", no_args_is_help=True)


@app.command("add")
@answering
def add(
    call: Call,
    channel: Annotated[str, typer.Argument(metavar="CHANNEL", help="webhook, email or feed.")],
    to: Annotated[
        str | None, typer.Argument(metavar="[TO]", help="The webhook's https address, or a mail address.")
    ] = None,
    *,
    model: Annotated[str | None, typer.Option(help="Only this pump model.")] = None,
    clinic: Annotated[str | None, typer.Option(help="Only this clinic.")] = None,
    rule: Annotated[str | None, typer.Option(help="Only this rule.")] = None,
    severity: Annotated[str | None, typer.Option(help="At least note, caution or urgent.")] = None,
) -> ExitCode:
    """Subscribe to alerts; a webhook's secret, or a feed's address, is shown this once."""
    from client_cli.render.subscriptions import show_new

    wish = {"to": to, "model": model, "clinic": clinic, "rule": rule, "severity": severity}
    document = {"channel": known_channel(channel), **{key: value for key, value in wish.items() if value}}
    with call.session() as session:
        call.answer(session.post("subscriptions", document).document, show_new)
    return ExitCode.DONE


@app.command("list")
@answering
def list_subscriptions(call: Call) -> ExitCode:
    """List your subscriptions."""
    from client_cli.render.subscriptions import show_subscriptions

    with call.session() as session:
        call.answer(session.collect("subscriptions"), show_subscriptions)
    return ExitCode.DONE


@app.command("remove")
@answering
def remove(call: Call, subscription_id: SubscriptionId) -> ExitCode:
    """End a subscription; its address is deleted on the server."""
    with call.session() as session:
        session.delete(f"subscriptions/{subscription_id}")
    call.answer(
        {"id": subscription_id, "removed": True},
        lambda console, _: console.print(f"Subscription {subscription_id} is ended."),
    )
    return ExitCode.DONE


@app.command("replay")
@answering
def replay(
    call: Call,
    subscription_id: SubscriptionId,
    *,
    since: Annotated[
        str, typer.Option(metavar="NUMBER|TIME", help="A sequence number, or a time (ISO 8601).")
    ],
) -> ExitCode:
    """Have all sent again since a number or a time, to a receiver that lost it; ids stay the same."""
    from client_cli.render.subscriptions import show_replay

    wish: dict[str, Any] = {"since": int(since) if since.isascii() and since.isdigit() else since}
    with call.session() as session:
        answer = session.post(f"subscriptions/{subscription_id}/replay", wish, repeatable=True)
        call.answer(answer.document, show_replay)
    return ExitCode.DONE


@app.command("rotate")
@answering
def rotate(call: Call, subscription_id: SubscriptionId) -> ExitCode:
    """Replace a webhook's secret, shown this once; the former one signs as well for a day."""
    from client_cli.render.subscriptions import show_new

    with call.session() as session:
        call.answer(session.post(f"subscriptions/{subscription_id}/rotate", {}).document, show_new)
    return ExitCode.DONE


@app.command("test")
@answering
def try_out(
    call: Call,
    subscription_id: SubscriptionId,
    *,
    wait: Annotated[float, typer.Option(min=0, help="Seconds to wait for what becomes of it.")] = 30,
) -> ExitCode:
    """Send a test message and say what became of it; exit code 3 when it was not taken."""
    from client_cli.render.subscriptions import show_delivery

    with call.session() as session:
        queued = session.post(f"subscriptions/{subscription_id}/test", {}).document
        became = _wait_for(session, subscription_id, queued, wait)
    call.answer(became, show_delivery)
    return ExitCode.REFUSED if became.get("last_error") else ExitCode.DONE


def _wait_for(
    session: "Session", subscription_id: int, queued: dict[str, Any], wait_s: float
) -> dict[str, Any]:
    """The delivery as it is once it was tried, or when waiting ends."""
    found = queued
    for _ in range(int(wait_s / LOOK_AGAIN_S)):
        page = session.get(f"subscriptions/{subscription_id}/deliveries", {"page_size": 50})
        found = next((one for one in page["results"] if one.get("id") == queued.get("id")), found)
        if found.get("state") != "waiting" or found.get("last_error"):
            break
        sleep(LOOK_AGAIN_S)
    return found
