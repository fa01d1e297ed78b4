"""Fill the registry as its people would: the catalogue, the gauges, then every clinic's sweep."""

from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from client_cli import manifest
from client_cli.session import Session
from client_cli.upload import Outcome, upload_rows
from seed_demo.driver import cli
from seed_demo.driver.home import tell
from seed_demo.driver.people import Tokens
from seed_demo.scenario.catalogue import CATALOGUE
from seed_demo.scenario.community import Clinic, Gauge, community
from seed_demo.scenario.recordings import Recording


def load_catalogue(address: str, tokens: Tokens) -> None:
    """Load the catalogue as the curator; a second demo changes nothing."""
    cli.use(address, tokens.curator)
    counts = Counter(change["action"] for change in cli.ask("catalogue", "load", str(CATALOGUE))["changes"])
    tell("Catalogue: " + ", ".join(f"{number} {action}" for action, number in sorted(counts.items())) + ".")


def declare_gauges(address: str, tokens: Tokens) -> None:
    """Declare each clinic's gauges as that clinic."""
    for clinic in community().clinics:
        cli.use(address, tokens.operator(clinic.code))
        for gauge in clinic.gauges:
            cli.ask("gauge", "declare", gauge.code, *_declaration(gauge))
    tell(f"Gauges: {sum(len(clinic.gauges) for clinic in community().clinics)} declared.")


def _declaration(gauge: Gauge) -> list[str]:
    said = gauge.declared
    low, high = said.range
    words = ["--gauge-model", gauge.model, "--range", f"{low:g}..{high:g} {said.unit}"]
    words += ["--resolution", f"{said.resolution:g} {said.unit}", "--accuracy", said.accuracy]
    for calibration in said.calibrations:
        told = ", ".join(f"{key}={value}" for key, value in calibration.items())
        words += ["--calibration", told]
    return words


def upload_all(
    address: str, tokens: Tokens, manifests: dict[str, Path], at_once: int
) -> dict[str, list[Outcome]]:
    """Upload every clinic's manifest, a few clinics at a time; outcomes by clinic."""

    def send(clinic: Clinic) -> list[Outcome]:
        rows = manifest.read(manifests[clinic.code])
        with Session(address, tokens.operator(clinic.code)) as session:
            return upload_rows(session, rows)

    clinics = [clinic for clinic in community().clinics if clinic.code in manifests]
    with ThreadPoolExecutor(at_once) as pool:
        sent = [pool.submit(send, clinic) for clinic in clinics]
        return {clinic.code: future.result() for clinic, future in zip(clinics, sent, strict=True)}


def show_outcomes(outcomes: dict[str, list[Outcome]], recordings: Iterable[Recording]) -> list[str]:
    """Print what became of the uploads and of every mishap; returns what came out otherwise than meant."""
    for clinic, theirs in outcomes.items():
        counts = Counter(state_of(outcome) for outcome in theirs)
        again = sum(outcome.outcome == "same" for outcome in theirs)
        told = ", ".join(f"{number} {state}" for state, number in sorted(counts.items()))
        tell(f"  {clinic:<14} {told}" + (f" ({again} were there before)" if again else ""))
    by_file = {(clinic, o.row.file.name): o for clinic, theirs in outcomes.items() for o in theirs}
    wrong = []
    tell("Mishaps among them:")
    for recording in recordings:
        planned = recording.planned
        outcome = by_file[planned.clinic.code, recording.file_name]
        if planned.mishap:
            tell(f"  {recording.file_name}: {state_of(outcome)}. {_why(outcome)}")
        if state_of(outcome) != planned.expected:
            wrong.append(
                f"{recording.file_name}: {state_of(outcome)}, meant {planned.expected}. {_why(outcome)}"
            )
    return wrong


def state_of(outcome: Outcome) -> str:
    """accepted, held or refused, whether sent now or known before."""
    return outcome.state or outcome.outcome


def _why(outcome: Outcome) -> str:
    """The gravest thing that was said of a run, in the server's words."""
    if outcome.problem is not None:
        return outcome.problem.detail
    gravity = ("hold", "caution", "note")
    findings = sorted(outcome.findings, key=lambda f: gravity.index(str(f.get("severity"))))
    return str(findings[0]["message"]) if findings else ""
