"""Correct the catalogue as it is done: one curator proposes, another confirms, and units follow."""

from collections.abc import Iterable

from seed_demo.driver import cli
from seed_demo.driver.home import ROOT, title
from seed_demo.driver.people import Tokens
from seed_demo.driver.truth import Json, wrong_spans
from seed_demo.scenario.catalogue import within
from seed_demo.scenario.units import Unit, units

CORRECTION = ROOT / "seed_demo" / "correction.toml"
MODEL = "Pellomi"
NEWLY_DECLARED = ("KV004000", "KV005199")


def correct_catalogue(address: str, tokens: Tokens) -> list[str]:
    """Propose, confirm, and ask again; returns what disagrees with what the simulator built."""
    title("A letter says more: one curator proposes, another confirms")
    proposer, confirmer = tokens.curators[:2]
    cli.use(address, proposer)
    why = "the maker's second letter tells how far A goes"
    proposal = cli.ask("catalogue", "propose", str(CORRECTION), "--why", why)["results"][0]
    cli.show("catalogue", "proposal", str(proposal["id"]))
    cli.use(address, confirmer)
    cli.show("catalogue", "confirm", str(proposal["id"]))
    done = cli.ask("catalogue", "proposal", str(proposal["id"]))
    cli.use(address, None)
    return not_moved(done["done"], strangers()) + _ask_as_typed(strangers()[0].serial)


def strangers() -> list[Unit]:
    """The units of the serials newly declared of which nobody had said what they are."""
    return [
        u
        for u in units()
        if u.pump_model == MODEL and not u.seen and within(MODEL, u.serial, *NEWLY_DECLARED)
    ]


def not_moved(done: Json, expected: Iterable[Unit]) -> list[str]:
    """Complaints unless the correction moved as many units to each build as the simulator built so."""
    built = [unit.revision for unit in expected]
    moved = {str(row["now"]): int(row["units"]) for row in done["units"] if row["was"] is None}
    meant = {revision: built.count(revision) for revision in built}
    return [] if moved == meant else [f"the correction moved {moved} units to builds, simulated were {meant}"]


def _ask_as_typed(serial: str) -> list[str]:
    """Ask about a serial in the way a person may type it; returns what is wrong about the answer."""
    typed = f"{serial[:2].lower()} {serial[2:5]} {serial[5:]}".replace("0", "O")
    cli.show("serial", MODEL, typed)
    document = cli.ask("serial", MODEL, typed)
    span = document["spans"][0]
    found = wrong_spans(MODEL, document)
    if (span["first"], span["basis"]) != (serial, "declared"):
        found.append(f"{typed} was read as {span['first']}, {span['basis']}")
    return found
