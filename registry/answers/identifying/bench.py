"""What the traces of the pump in hand say: each measured value beside what builds do at that setting."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry.answers.identifying.pieces import Builds, Piece
from registry.answers.identifying.traces import METRICS, Recorded, Setting, Stock, in_words, readings_of
from registry.answers.wording import figure, rounded
from registry.answers.wording import in_words as spoken
from registry.statistics.predictive import Reading
from registry.statistics.recorded import Known, steps


@dataclass(frozen=True)
class OnBench:
    """The traces' pieces of evidence, the readings that count, their settings, and what has to be told."""

    pieces: tuple[Piece, ...]
    readings: tuple[Reading, ...]
    settings: tuple[Setting, ...]
    cautions: tuple[str, ...]
    known: Known


def weigh_traces(builds: Builds, stock: Stock, recorded: Sequence[Recorded]) -> OnBench:
    """Weigh traces in the order given: each says what it adds to those before it.

    A held trace, and one at a setting where no build was measured, counts for nothing and says why.
    """
    gauges = {code: place for place, code in enumerate({one.said.gauge.casefold(): 0 for one in recorded})}
    settings = [None if one.measured.holds else stock.fitting(one) for one in recorded]
    counted = [setting for setting in settings if setting is not None]
    known = stock.known(counted)
    read = [
        readings_of(one, setting, gauges) if setting is not None else []
        for one, setting in zip(recorded, settings, strict=True)
    ]
    read = [[reading for reading in of if known.measured(reading.code)] for of in read]
    added = steps(known, read)
    pieces = tuple(
        _piece(builds, stock, one, setting, known, logs)
        for one, setting, logs in zip(recorded, settings, added, strict=True)
    )
    return OnBench(
        pieces,
        tuple(reading for of in read for reading in of),
        tuple(dict.fromkeys(counted)),
        tuple(_cautions(builds, stock, recorded, settings)),
        known,
    )


def _piece(
    builds: Builds, stock: Stock, one: Recorded, setting: Setting | None, known: Known, logs: Any
) -> Piece:
    said = f"{one.name} at {one.where}"
    more: dict[str, Any] = {
        "setting": None,
        "measurements": {},
        "state": "held" if one.measured.holds else "accepted",
        "findings": [finding.message for finding in one.measured.findings if finding.severity == "hold"],
    }
    if one.measured.holds:
        return Piece("trace", said, f"held, so it does not count: {' '.join(more['findings'])}", more=more)
    if setting is None:
        return Piece("trace", said, _nobody(stock, one), more=more)
    values = _values(builds, known, one, setting)
    more |= {
        "setting": setting._asdict() | {"rig": stock.rigs[setting.rig].label},
        "measurements": values,
    }
    thin = [stock.is_thin(setting, revision.pk) for revision in builds.revisions]
    there = [stock.counts(setting, revision.pk)[0] > 0 for revision in builds.revisions]
    # None of the builds is named only where those that were measured are known well.
    thin.append(any(is_thin for is_thin, was in zip(thin, there, strict=True) if was))
    told = "; ".join(_told(metric, found) for metric, found in values.items())
    return Piece("trace", said, f"{told} ({in_words(setting, stock.rigs)})", logs, tuple(thin), more)


def _values(builds: Builds, known: Known, one: Recorded, setting: Setting) -> dict[str, Any]:
    """Each metric as measured, and what each build does there; None for one that was not measured."""
    found = {}
    for metric in METRICS:
        quantity = one.measured.metrics.get(metric)
        if quantity is None or not known.measured((setting, metric)):
            continue
        foreseen = known.foreseen[setting, metric]
        found[metric] = {
            "value": figure(quantity.value),
            "unit": quantity.unit,
            "uncertainty": figure(quantity.u),
            "expected": {
                label: None if of is None else figure(of.value)
                for label, of in zip(builds.labels, foreseen, strict=True)
            },
        }
    return found


def _told(metric: str, found: Mapping[str, Any]) -> str:
    """As in "cycle rate 66.2 (A 74.3, B 66.1)"."""
    u = found["uncertainty"]
    expected = [
        f"{label} {'?' if value is None else rounded(value, u)}" for label, value in found["expected"].items()
    ]
    return f"{spoken(metric)} {rounded(found['value'], u)} ({', '.join(expected)})"


def _nobody(stock: Stock, one: Recorded) -> str:
    like = [
        setting
        for setting in stock.blocks
        if (setting.mode, setting.level) == (one.said.mode, one.said.level)
    ]
    best = stock.best(like)
    if best is None:
        return "no build was measured at this mode and level"
    return f"no build was measured so; measured is {in_words(best, stock.rigs)}"


def _cautions(
    builds: Builds, stock: Stock, recorded: Sequence[Recorded], settings: Sequence[Setting | None]
) -> list[str]:
    """What the reader of traces should bear in mind, each once."""
    told = []
    counted = [setting for setting in settings if setting is not None]
    if any(f.code == "gauge_undeclared" for one in recorded for f in one.measured.findings):
        told.append("A gauge is not declared, so its vacuum was taken to be less certain.")
    unmeasured = [
        revision.label
        for revision in builds.revisions
        if counted and not any(stock.counts(setting, revision.pk)[0] for setting in counted)
    ]
    if unmeasured:
        plural = "s" if len(unmeasured) > 1 else ""
        told.append(
            f"Revision{plural} {', '.join(unmeasured)} never measured there: traces hardly speak for or "
            "against."
        )
    if any(
        setting is not None and not _says_rig(one) for one, setting in zip(recorded, settings, strict=True)
    ):
        told.append("No rig was said; each trace was set beside the rig most builds were measured on.")
    return told


def _says_rig(one: Recorded) -> bool:
    said = one.said
    return any((said.protector, said.valve, said.tubing, said.flange_mm, said.load_ml))
