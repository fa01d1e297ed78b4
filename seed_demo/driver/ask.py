"""Ask the registry what it was filled for, by the commands a person would type, and check the answers."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from client_cli.session import Session
from seed_demo.driver import cli
from seed_demo.driver.files import trace_file
from seed_demo.driver.home import tell, title
from seed_demo.driver.people import Tokens
from seed_demo.driver.truth import agreement, alerted, missing_bases, wrong_spans
from seed_demo.scenario.mishaps import declared_revision
from seed_demo.scenario.recordings import Recording
from seed_demo.scenario.units import units

ALERT_WAIT_S = 45.0
GAUGE_THAT_READS_OFF = "QW-2"
OFF = ("quarrowick", GAUGE_THAT_READS_OFF)
# What is said of the traces beside their level; where the clinic lies is left to the gauge.
IDENTIFYING = (
    *("mode", "protector", "valve", "tubing", "flange_mm", "load_ml"),
    *("gauge", "power", "zero_offset"),
)


@dataclass(frozen=True)
class SerialQuestion:
    """A serial or a range of serials to ask about, and which bases its answer must show."""

    pump_model: str
    serials: tuple[str, ...]
    bases: tuple[str, ...]


def serial_questions() -> tuple[SerialQuestion, ...]:
    """A range across each change of build, and a serial that a clinic looked at beyond all declared spans."""
    seen = next(u.serial for u in units() if u.seen and declared_revision(u.pump_model, u.serial) is None)
    return (
        SerialQuestion("Pellomi", ("KV003000", "KV008500"), ("declared", "inferred", "unknown")),
        SerialQuestion("Tivanne", ("24W01-0001", "25W30-9999"), ("declared", "inferred", "unknown")),
        SerialQuestion("Pellomi", (seen,), ("observed",)),
    )


def ask_serials() -> list[str]:
    """Ask which revision serials are; returns what disagrees with what the simulator built."""
    title("Which revision is this serial, or this range of serials?")
    wrong = []
    for question in serial_questions():
        words = ("serial", question.pump_model, *question.serials)
        cli.show(*words)
        document = cli.ask(*words)
        found = wrong_spans(question.pump_model, document)
        known = sum(span["revision"] is not None for span in document["spans"])
        tell(f"\nAgainst the simulator: of {known} stretches with a revision, {len(found)} are wrong.")
        found += missing_bases(document, question.bases)
        wrong += [f"{question.pump_model}: {complaint}" for complaint in found]
    return wrong


def ask_identification(address: str, tokens: Tokens, recordings: Sequence[Recording]) -> list[str]:
    """Ask which build a pump is of which nobody said it, by its traces; returns a complaint when wrong."""
    title("Which build is this pump? Nobody looked at it; two traces tell")
    traces = traces_of_a_stranger(recordings)
    cli.use(address, tokens.operator(traces[0].planned.clinic.code))
    words = ["identify", traces[0].planned.unit.pump_model]
    for trace in traces:
        said = trace.planned.provenance()
        words += ["--trace", str(trace_file(trace)), "--level", str(said["level"])]
    words += [f"--{key.replace('_', '-')}={said[key]}" for key in IDENTIFYING if key in said]
    cli.show(*words)
    document = cli.ask(*words)
    cli.use(address, None)
    built = traces[0].planned.unit.revision
    tell(f"\nAgainst the simulator: it was built as {built}; the answer is {document['verdict']}.")
    return [] if document["named"] == built else [f"a pump built as {built}: {document['verdict']}"]


def traces_of_a_stranger(recordings: Sequence[Recording]) -> list[Recording]:
    """Sound recordings, at two settings, of the last unit that nobody looked at beyond all declared spans."""
    sound = [r for r in recordings if not r.planned.mishap and r.planned.setting.mode == "expression"]
    strangers = [u for u in units() if not u.seen and declared_revision(u.pump_model, u.serial) is None]
    unit = [u for u in strangers if u.pump_model == "Pellomi"][-1]
    by_level = {r.planned.setting.level: r for r in sound if r.planned.unit == unit}
    return [by_level[level] for level in (3, 4)]


def ask_distributions() -> None:
    """Ask how each revision behaves, then put two beside each other."""
    title("How does each revision behave?")
    cli.show("distribution", "Pellomi", "--mode", "expression", "--level", "3", "--metric", "cycle_rate")
    cli.show("distribution", "Tivanne", "--mode", "expression", "--level", "3", "--metric", "peak_vacuum")


def show_side_by_side(pump_model: str, old: str, new: str, metrics: Sequence[str]) -> None:
    """Print two revisions setting by setting, each on the rig it was measured on most."""
    title(f"{pump_model} {old} beside {new}")
    tell(f"  {'setting':<16}{'metric':<16}{old:>10}{new:>10}{'change':>10}")
    for metric in metrics:
        cells = cli.ask("distribution", pump_model, "--metric", metric)["cells"]
        for (mode, level), both in pairs(cells, old, new):
            before, after = (float(both[label]["centre"]) for label in (old, new))
            percent = 100.0 * (after / before - 1.0)
            tell(f"  {f'{mode} {level}':<16}{metric:<16}{before:>10.1f}{after:>10.1f}{percent:>+9.1f} %")


def pairs(
    cells: Sequence[dict[str, Any]], old: str, new: str
) -> list[tuple[tuple[str, str], dict[str, dict[str, Any]]]]:
    """For each setting that both revisions have, the cell of either on the rig with the most units."""

    def setting(cell: dict[str, Any]) -> tuple[str, str]:
        return str(cell["mode"]), str(cell["level"])

    found = []
    for key, group in groupby(sorted(cells, key=setting), key=setting):
        both: dict[str, dict[str, Any]] = {}
        for cell in sorted(group, key=lambda cell: int(cell["units"])):
            if cell["revision"] in (old, new) and cell["centre"] is not None:
                both[cell["revision"]] = cell
        if len(both) == 2:
            found.append((key, both))
    return found


def ask_alerts() -> list[str]:
    """Ask what stands out; returns a complaint when the gauge that reads off is not among it in time."""
    title("What stands out?")
    found = _wait_for_alert(GAUGE_THAT_READS_OFF)
    cli.show("alerts")
    return [] if found else [f"no alert names the gauge {GAUGE_THAT_READS_OFF}, which reads 8 % high"]


def _wait_for_alert(gauge: str) -> bool:
    """Alert checks run in a queue behind the uploads, so the answer may take a moment."""
    end = time.monotonic() + ALERT_WAIT_S
    while not alerted(cli.ask("alerts"), "gauge", gauge):
        if time.monotonic() > end:
            return False
        time.sleep(0.5)
    return True


def compare_with_truth(address: str, token: str, recordings: Sequence[Recording]) -> list[str]:
    """Print how measured values differ from the simulator's; returns gauges that are off by surprise."""
    title("Measured against what the simulator drove (medians over the runs of a gauge)")
    with Session(address, token) as session:
        rows = agreement(recordings, session.rows("runs"))
    wrong = []
    for row in rows:
        tell(
            f"  {row.gauge:<12}{row.runs:>4} runs   cycle rate {row.rate_percent:+6.2f} %"
            f"   peak vacuum {row.peak_percent:+6.2f} %"
        )
        off = abs(row.peak_percent) > 2.5
        if abs(row.rate_percent) > 0.5 or off != (row.gauge == GAUGE_THAT_READS_OFF):
            wrong.append(f"gauge {row.gauge}: rate {row.rate_percent:+.2f} %, peak {row.peak_percent:+.2f} %")
    return wrong
