"""Ask what holds builds, needs, claims and benches against each other, and check it by what was simulated."""

from collections.abc import Sequence

from seed_demo.driver import cli
from seed_demo.driver.built import (
    Truths,
    wrong_benches,
    wrong_claims,
    wrong_comparison,
    wrong_settings,
    wrong_swap,
)
from seed_demo.driver.home import demo_home, tell, title
from seed_demo.driver.people import Tokens
from seed_demo.scenario.community import community
from seed_demo.scenario.recordings import Recording

MODEL, OLD, NEW = "Pellomi", "A", "B"
AT = ("--mode", "expression", "--level", "3")
LINES = 16


def ask_builds(recordings: Sequence[Recording]) -> list[str]:
    """Compare builds, swap a part, look for settings, check claims; returns what the truth contradicts."""
    truths = Truths(recordings)
    return [
        *_compare(truths),
        *_swap(),
        *_settings(truths),
        *_claims(truths),
    ]


def _compare(truths: Truths) -> list[str]:
    title("Same or different, and does it matter?")
    cli.show("compare", MODEL, OLD, NEW, *AT, lines=LINES)
    words = ("compare", MODEL, OLD, NEW)
    wrong = wrong_comparison(cli.ask(*words, *AT), truths, OLD, NEW)
    # Over all settings together a handful of units in each band of elevation need not tell.
    wrong += wrong_comparison(cli.ask(*words), truths, OLD, NEW, tellable=False)
    wrong += wrong_comparison(cli.ask("compare", "Tivanne", "1", "2"), truths, "1", "2")
    return _told("every verdict and interval", wrong)


def _swap() -> list[str]:
    title("Is it the part or the base?")
    words = ("swap", MODEL, OLD, NEW, "--part", "protector")
    cli.show(*words, *AT, lines=LINES)
    return _told("the split of every cycle rate", wrong_swap(cli.ask(*words), OLD, NEW))


def _settings(truths: Truths) -> list[str]:
    title("Which setting does this? Which is like the old one?")
    need = ("settings", "Tivanne", "--rate", "60..", "--vacuum", "180..230")
    cli.show(*need, lines=LINES)
    cli.show("settings", MODEL, "--like", f"{OLD}:expression:3", "--revision", NEW, lines=LINES)
    return _told("settings called likely or unlikely", wrong_settings(cli.ask(*need), truths))


def _claims(truths: Truths) -> list[str]:
    title("Does it do what is claimed?")
    cli.show("claims", MODEL, lines=LINES)
    wrong = [w for name in (MODEL, "Tivanne") for w in wrong_claims(cli.ask("claims", name), truths)]
    return _told("the verdicts on claims", wrong)


def ask_benches(address: str, tokens: Tokens, gauge: str) -> list[str]:
    """Ask by the sign-in of the clinic whose gauge reads off, then as anybody; returns what is not so."""
    clinic = next(c for c in community().clinics if gauge in {one.code for one in c.gauges})
    title(f"How does the bench of {clinic.code} read? Only itself sees its name")
    cli.use(address, tokens.operator(clinic.code))
    cli.show("benches", lines=LINES)
    wrong = wrong_benches(cli.ask("benches"), clinic, gauge)
    cli.use(address, None)
    if clinic.code in str(cli.ask("benches")):
        wrong.append(f"{clinic.code} is named to everybody")
    return _told("gauges' offsets", wrong)


def ask_export() -> list[str]:
    """Take a table along, and make it again for the time it told; returns a complaint where they differ."""
    title("A table to take along, and the same made again for its time")
    first, again = (str(demo_home() / name) for name in ("peaks.csv", "peaks-again.csv"))
    words = ("export", MODEL, "--metric", "peak_vacuum", "--force")
    taken = cli.ask(*words, "-o", first)
    cli.show(*words, "--where", f"as_of={taken['as_of']}", "-o", again)
    made = cli.ask(*words, "--where", f"as_of={taken['as_of']}", "-o", again)
    same = taken["digest"] == made["digest"] and taken["rows"] > 0
    tell(f"\nBoth have {taken['rows']} rows and the digest {taken['digest']}." if same else "\nThey differ.")
    return [] if same else ["an export made again for its time is another file"]


def _told(what: str, wrong: list[str]) -> list[str]:
    tell(f"\nAgainst the simulator: of {what}, {len(wrong)} are wrong.")
    return wrong
