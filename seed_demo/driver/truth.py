"""Hold the registry's answers against what the simulator really built. Pure: documents in, complaints out."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median
from typing import Any

from seed_demo.scenario.catalogue import place
from seed_demo.scenario.pumps import pump_truths
from seed_demo.scenario.recordings import Recording

Json = dict[str, Any]


def wrong_spans(pump_model: str, document: Json) -> list[str]:
    """Spans of a `serials` answer that name a revision which the simulator did not build there.

    A span is wrong when any serial in it was built as another revision or was never built at all. A span
    that says unknown is never wrong.
    """
    complaints = []
    for span in document["spans"]:
        said = span["revision"]
        if said is None:
            continue
        built = _built_within(pump_model, span)
        if built != {said}:
            told = ", ".join(sorted(built)) or "nothing"
            complaints.append(f"{span['first']} to {span['last']}: said {said}, built {told}")
    return complaints


def missing_bases(document: Json, bases: Iterable[str]) -> list[str]:
    """Which of the bases no span of the answer has."""
    found = {span["basis"] for span in document["spans"]}
    return [f"no span is {basis}" for basis in bases if basis not in found]


def _built_within(pump_model: str, span: Json) -> set[str]:
    """The builds whose true serials meet the span; an end marked as excluded does not belong to it."""
    (series, first), (_, last) = (place(pump_model, span[end]) for end in ("first", "last"))
    found = set()
    for build in pump_truths()[pump_model].builds:
        for ends in build.serials:
            (its_series, low), (_, high) = (place(pump_model, end) for end in ends)
            begins = first < high if span.get("first_excluded") else first <= high
            ends_after = low < last if span.get("last_excluded") else low <= last
            if its_series == series and begins and ends_after:
                found.add(build.revision)
    return found


@dataclass(frozen=True)
class Agreement:
    """How measured values of accepted runs differ from the truth, by gauge: medians over its runs."""

    gauge: str
    runs: int
    rate_percent: float
    peak_percent: float


def agreement(recordings: Iterable[Recording], runs: Iterable[Json]) -> list[Agreement]:
    """Match stored runs to their recordings by digest and compare cycle rate and peak, gauge by gauge."""
    truths = {hashlib.sha256(r.data).hexdigest(): r for r in recordings if r.truth is not None}
    apart: dict[str, list[tuple[float, float]]] = {}
    for run in runs:
        recording = truths.get(run["digest"])
        if run["state"] == "accepted" and recording is not None and recording.truth is not None:
            measured, truth = run["measurements"], recording.truth
            rate = 100.0 * (measured["cycle_rate"]["value"] / truth.cycle_rate - 1.0)
            peak = 100.0 * (measured["peak_vacuum"]["value"] / truth.peak_vacuum - 1.0)
            apart.setdefault(str(run["gauge"]), []).append((rate, peak))
    return [
        Agreement(gauge, len(found), median(rate for rate, _ in found), median(peak for _, peak in found))
        for gauge, found in sorted(apart.items())
    ]


def alerted(document: Json, kind: str, identity: str) -> bool:
    """Whether an alert that is not over is about the thing of that kind and identity."""
    return any(
        identity in str(alert["subject"].get(kind, ""))
        for alert in document["results"]
        if alert["state"] not in ("settled", "dismissed")
    )
