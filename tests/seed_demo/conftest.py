"""Shared by the demo's tests: a small share of the community's recordings, made once."""

from functools import cache

import pytest

from seed_demo.scenario.plan import planned_runs
from seed_demo.scenario.recordings import Recording, make_recordings
from seed_demo.scenario.runs import PlannedRun


def chosen() -> list[PlannedRun]:
    """The first run of every build and mode at every gauge, up to sixty with all mishaps."""
    count: dict[tuple[object, ...], int] = {}
    taken = []
    for run in planned_runs():
        key = (run.unit.pump_model, run.unit.revision, run.setting.mode, run.gauge)
        count[key] = count.get(key, 0) + 1
        if run.mishap or count[key] == 1:
            taken.append(run)
    return taken[:53] + taken[-7:]


@cache
def _recordings() -> tuple[Recording, ...]:
    return tuple(make_recordings(chosen()))


@pytest.fixture(scope="session")
def recordings() -> tuple[Recording, ...]:
    """At most sixty recordings with their truths."""
    return _recordings()
