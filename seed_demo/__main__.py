"""Show the whole job on an invented community: python -m seed_demo [--server URL]."""

import argparse
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from typing import NoReturn

from client_cli.errors import ClientError
from seed_demo.driver import ask, cli, correct, double, fill, told, weigh
from seed_demo.driver.files import write_files
from seed_demo.driver.home import DemoError, demo_home, tell, title
from seed_demo.driver.people import Tokens, refuse_foreign, sign_in
from seed_demo.driver.server import running_server
from seed_demo.scenario.double import make_double
from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.recordings import Recording, make_recordings
from seed_demo.scenario.units import units

AT_ONCE = 3


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the demo; 0 when every answer agrees with what was simulated, 1 otherwise."""
    options = _options(arguments)
    signal.signal(signal.SIGTERM, _stop)
    began = time.monotonic()
    server = nullcontext(options.server) if options.server else running_server()
    try:
        with ThreadPoolExecutor(1) as pool, server as address:
            recordings = pool.submit(make_recordings, planned_runs())
            wrong = _run(address, recordings, options.at_once)
    except (DemoError, ClientError) as error:
        tell(f"\nThe demo stopped: {error}")
        return 1
    _farewell(time.monotonic() - began)
    for complaint in wrong:
        tell(f"WRONG: {complaint}")
    return 1 if wrong else 0


def _options(arguments: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m seed_demo", description=__doc__)
    parser.add_argument(
        "--server",
        metavar="URL",
        help="use a server that runs already, on the same VACUARY_HOME or DATABASE_URL (default: start one)",
    )
    parser.add_argument(
        "--at-once",
        type=int,
        default=AT_ONCE,
        metavar="N",
        help="clinics that upload at a time (%(default)s)",
    )
    return parser.parse_args(arguments)


def _run(address: str, recordings: Future[list[Recording]], at_once: int) -> list[str]:
    """Fill and ask; returns everything that is not as it must be."""
    tell(f"The server answers at {address}.")
    refuse_foreign(address)
    with _timed("Signing in"):
        tokens = sign_in(address)
    made = recordings.result()
    wrong = _fill(address, tokens, made, at_once)
    cli.use(address, None)
    wrong += ask.ask_serials()
    wrong += ask.ask_identification(address, tokens, made)
    ask.ask_distributions()
    ask.show_side_by_side("Pellomi", "A", "B", ("cycle_rate", "peak_vacuum"))
    wrong += weigh.ask_builds(made)
    wrong += ask.compare_with_truth(address, tokens.curator, made)
    wrong += weigh.ask_benches(address, tokens, ask.GAUGE_THAT_READS_OFF)
    wrong += weigh.ask_export()
    wrong += double.show_double(address, tokens, make_double())
    cli.use(address, None)
    wrong += ask.ask_alerts()
    wrong += told.show_told(address, tokens, *ask.OFF)
    return wrong + correct.correct_catalogue(address, tokens)


def _fill(address: str, tokens: Tokens, made: list[Recording], at_once: int) -> list[str]:
    title("Filling the registry")
    tell(f"{len(made)} recordings of {len(units())} units, simulated; saved in {demo_home()}.")
    fill.load_catalogue(address, tokens)
    fill.declare_gauges(address, tokens)
    with _timed(f"Uploading, {at_once} clinics at a time,"):
        outcomes = fill.upload_all(address, tokens, write_files(made), at_once)
    return fill.show_outcomes(outcomes, made)


@contextmanager
def _timed(what: str) -> Iterator[None]:
    began = time.monotonic()
    yield
    tell(f"{what} took {time.monotonic() - began:.1f} s.")


def _farewell(seconds: float) -> None:
    title(f"Done in {seconds:.0f} s")
    tell("All makers, pumps, clinics and people here are invented; no number is about a real pump.")
    tell("Vacuum that suits one person may hurt another: bench figures inform, they do not prescribe.")
    tell("Keep serving this registry:  make serve PORT=8000")
    tell(f"Sign in as one of its people: the tokens are in {demo_home() / 'tokens.json'}; for example")
    tell("  export VACUARY_SERVER=http://127.0.0.1:8000 VACUARY_TOKEN=...")
    tell("  .venv/bin/vacuary runs --mine")


def _stop(number: int, frame: object) -> NoReturn:  # noqa: ARG001 - the signature is signal's
    """SIGTERM ends the demo by way of its context managers, so that its server ends with it."""
    raise SystemExit(128 + number)


if __name__ == "__main__":
    sys.exit(main())
