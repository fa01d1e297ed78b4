"""A double pump on the bench: one file of both sides becomes two runs and says how unlike they pull."""

from seed_demo.driver import cli
from seed_demo.driver.home import demo_home, title
from seed_demo.driver.people import Tokens
from seed_demo.scenario.double import FILE_NAME, LATER_S, WEAKER_MMHG, DoubleRecording


def show_double(address: str, tokens: Tokens, double: DoubleRecording) -> list[str]:
    """Measure, store and look at both sides; returns what disagrees with what the simulator drove."""
    clinic = double.planned.clinic.code
    folder = demo_home() / clinic
    folder.mkdir(exist_ok=True)
    file = folder / FILE_NAME
    file.write_bytes(double.data)
    said = double.planned.provenance() | {"side": "both"}
    options = [word for key, value in said.items() for word in (f"--{key.replace('_', '-')}", str(value))]
    title("Both sides of a double pump, from one file")
    cli.use(address, tokens.operator(clinic))
    cli.show("measure", str(file), "--gauge", double.planned.gauge)
    stored = cli.ask("upload", str(file), *options)["runs"]
    cli.show("run", str(stored[1]["id"]), "--parts")
    return disagreements(cli.ask("run", str(stored[1]["id"])))


def disagreements(right: dict[str, dict[str, dict[str, float]]]) -> list[str]:
    """What the imbalance in a run's document has otherwise than it was simulated."""
    found = right.get("imbalance", {})
    truths = {"peak_vacuum": WEAKER_MMHG, "phase": LATER_S}
    near = {"peak_vacuum": 4.0, "phase": 0.05}
    return [
        f"the double pump's {metric} differs by {found.get(metric)}, simulated was {truth}"
        for metric, truth in truths.items()
        if metric not in found or abs(found[metric]["value"] - truth) > near[metric]
    ]
