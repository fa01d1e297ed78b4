"""Recordings that go wrong, as on every bench, so that refusing and holding can be seen."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

from seed_demo.scenario.catalogue import catalogue, within
from seed_demo.scenario.runs import PlannedRun

SHORT_S = 2.0


def mishaps(sound: Sequence[PlannedRun]) -> list[PlannedRun]:
    """One mishap of each kind, each a variation of a sound run, made half an hour later."""
    at_level = [run for run in sound if (run.setting.mode, run.setting.level) == ("expression", 4)]
    hosts = [next(run for run in at_level if run.clinic.code == code) for code in _codes(at_level)]
    made = [
        _vary(hosts[0], "notes_saved_as_csv", expected="refused"),
        _vary(hosts[1], "stopped_after_two_seconds", expected="held"),
        _vary(hosts[2], "pump_not_switched_on", expected="held"),
        _vary(hosts[3], "gauge_not_declared", gauge="BORROWED-1", note="gauge borrowed for the day"),
        _vary(hosts[4], "leaky_rig"),
        _vary(_at(at_level, "BC-1"), "beyond_the_gauge", gauge="BC-2", expected="held"),
        _contradiction(at_level),
    ]
    return [replace(r, recorded_at=r.recorded_at + timedelta(minutes=30 + 2 * i)) for i, r in enumerate(made)]


def _codes(runs: Sequence[PlannedRun]) -> list[str]:
    return list(dict.fromkeys(run.clinic.code for run in runs))


def _at(runs: Sequence[PlannedRun], gauge: str) -> PlannedRun:
    """A run at that gauge on a unit that builds the most vacuum."""
    return max((run for run in runs if run.gauge == gauge), key=lambda run: run.setting.vacuum)


def _contradiction(runs: Sequence[PlannedRun]) -> PlannedRun:
    """A revision said of a serial that a declared span gives to another."""
    for run in runs:
        declared = declared_revision(run.unit.pump_model, run.unit.serial)
        others = [r["label"] for r in catalogue()[run.unit.pump_model]["revision"] if r["label"] != declared]
        if declared and others and not run.unit.seen:
            return _vary(run, "revision_against_the_letter", expected="held", revision=others[0])
    raise ValueError("no unit with a declared span is left to contradict")


def declared_revision(pump_model: str, serial: str) -> str | None:
    """The revision that the catalogue's spans give to a serial, None when no span covers it."""
    for revision in catalogue()[pump_model]["revision"]:
        for span in revision.get("span", []):
            if within(pump_model, serial, span["first"], span["last"]):
                return str(revision["label"])
    return None


def _vary(run: PlannedRun, mishap: str, **changes: str) -> PlannedRun:
    return replace(run, name=f"{run.unit.serial}_{mishap}", mishap=mishap, **changes)  # type: ignore[arg-type]
