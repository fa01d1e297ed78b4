"""Hold comparisons, swaps, claims and benches against what was simulated. Documents in, complaints out."""

from collections.abc import Iterable, Mapping
from statistics import mean
from typing import Any

from seed_demo.scenario.community import Clinic
from seed_demo.scenario.pumps import pump_truths
from seed_demo.scenario.recordings import Recording

Json = dict[str, Any]
METRICS = ("cycle_rate", "peak_vacuum", "residual_vacuum")
_MOST_OFF_PERCENT = 3.0
"""how far a bench's offset may lie from its gauge's true gain: what it is held against is not known better"""


class Truths:
    """What units of each build truly did at each setting: means over the units of their means over runs."""

    def __init__(self, recordings: Iterable[Recording]) -> None:
        units: dict[tuple[str, ...], dict[str, list[float]]] = {}
        for recording in recordings:
            planned, truth = recording.planned, recording.truth
            if truth is None or planned.mishap:
                continue
            at = (planned.setting.mode, str(planned.setting.level), planned.protector)
            for metric in METRICS:
                place = (planned.unit.pump_model, planned.unit.revision, *at, metric)
                values = units.setdefault(place, {}).setdefault(planned.unit.serial, [])
                values.append(float(getattr(truth, metric)))
        self._typical = {place: mean(map(mean, of.values())) for place, of in units.items()}

    def typical(self, model: str, revision: str, row: Mapping[str, Any], metric: str) -> float | None:
        """The build's typical value at a row's setting and protector; None where nothing was simulated."""
        protector = str(row["rig"]).split(" / ")[0]
        return self._typical.get((model, revision, str(row["mode"]), str(row["level"]), protector, metric))


def wrong_comparison(
    document: Json, truths: Truths, old: str, new: str, *, tellable: bool = True
) -> list[str]:
    """Verdicts of a comparison that the simulated units contradict, and intervals that miss the truth.

    `tellable` builds have to be told apart; else it is enough that they are not called the same.
    """
    said_right = ("different",) if tellable else ("different", "cannot tell yet")
    verdict = document["verdict"]
    wrong = [] if verdict in said_right else [f"{old} and {new}: said {verdict}"]
    for row in document["settings"]:
        before, after = (truths.typical(document["model"], build, row, row["metric"]) for build in (old, new))
        if before is None or after is None or row["low"] is None:
            continue
        apart = after - before
        said = f"{row['metric']} at {row['mode']} {row['level']}: said {row['verdict']}"
        missed = not row["low"] <= apart <= row["high"]
        unlike = row["verdict"] == "different" and apart * row["difference"] <= 0
        if missed or unlike or (row["verdict"] == "same" and abs(apart) > row["margin"]):
            wrong.append(f"{said} ({row['low']:.1f} to {row['high']:.1f}), truly {apart:.1f} apart")
    return wrong


def wrong_swap(document: Json, old: str, new: str) -> list[str]:
    """Cycle rates whose split misses that motors differ by their speed and protectors change no rate."""
    builds = pump_truths()[document["model"]]
    by_base = 100.0 * (builds.build(new).speed / builds.build(old).speed - 1.0)
    rows = [row for row in document["settings"] if row["metric"] == "cycle_rate"]
    wrong = [] if rows else ["no cycle rate was split"]
    for row in rows:
        base, part = row["base"], row["part"]
        if not base["percent_low"] <= by_base <= base["percent_high"] or abs(part["percent"]) > 1.0:
            told = f"base {base['percent']:.1f} %, part {part['percent']:.1f} %"
            wrong.append(f"at {row['mode']} {row['level']}: {told}; truly base {by_base:.1f} %, part none")
    return wrong


def wrong_claims(document: Json, truths: Truths) -> list[str]:
    """Claims of a limit whose verdict the typical simulated unit contradicts."""
    wrong = []
    for claim in document["claims"]:
        if claim["setting"] is None or claim["relation"] not in ("at least", "at most"):
            continue
        truly = truths.typical(document["model"], claim["revision"], claim["setting"], claim["metric"])
        if truly is None:
            continue
        over = truly >= claim["value"] if claim["relation"] == "at least" else truly <= claim["value"]
        if claim["verdict"] == ("not upheld" if over else "upheld"):
            wrong.append(f"revision {claim['revision']}, {claim['says']} Truly it is {truly:.0f}.")
    return wrong


def wrong_settings(document: Json, truths: Truths) -> list[str]:
    """Settings called likely or unlikely whose typical simulated unit does otherwise."""
    needs = {metric: [float(end) if end else None for end in told.split("..")]
             for metric, told in document["needs"].items()}  # fmt: skip
    wrong = []
    for row in document["settings"]:
        values = {m: truths.typical(row["model"], str(row["revision"]), row, m) for m in needs}
        if row["probability"] is None or None in values.values():
            continue
        meets = all(_within(float(values[m] or 0.0), *ends) for m, ends in needs.items())
        if (row["probability"] > 0.9 and not meets) or (row["probability"] < 0.1 and meets):
            wrong.append(f"{row['mode']} {row['level']}: {100 * row['probability']:.0f} %, truly {values}")
    return wrong


def _within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def wrong_benches(document: Json, clinic: Clinic, off: str) -> list[str]:
    """Gauges of the clinic whose vacuum offset misses their true gain, or that are marked wrongly."""
    rows = {row["gauge"]: row for row in document["gauges"] if row["quantity"] == "vacuum"}
    wrong = [] if off in rows else [f"gauge {off} is not told of"]
    for code, row in rows.items():
        truly = 100.0 * (clinic.gauge(code).truth.gain - 1.0)
        told = row["offset_percent"]
        if (
            told is None
            or abs(told - truly) > _MOST_OFF_PERCENT
            or (row["reads"] == "action") != (code == off)
        ):
            wrong.append(f"gauge {code}: said {told} % ({row['reads']}), truly {truly:.1f} %")
    return wrong
