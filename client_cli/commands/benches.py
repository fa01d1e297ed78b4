"""How benches compare: `benches`."""

from functools import partial

from client_cli.commands.common import Call, answering
from client_cli.commands.when import AsOf, EditionOption, EveryRow
from client_cli.exits import ExitCode


@answering
def benches(
    call: Call, *, every: EveryRow = False, as_of: AsOf = None, edition: EditionOption = None
) -> ExitCode:
    """Show how far your bench and gauges read from the others."""
    from client_cli.render.benches import show_benches

    with call.session() as session:
        document = session.get("benches", {"as_of": as_of, "edition": edition})
    call.answer(document, partial(show_benches, every=every))
    return ExitCode.DONE
