"""When a gauge, which read as others do, began to read otherwise: it is then taken for two gauges.

Works on a table from `pair_table` with `at` besides: when each unit was last read with the gauge, in seconds.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import stats

from registry.statistics.robust import Floats
from registry.statistics.taming import fit_pairs, shared

# A step between two epochs of a gauge: as large as matters, seen on so many units on either side, and by
# chance in one gauge of a hundred at most.
LEAST_STEP = 0.04
LEAST_UNITS = 3
LEAST_OTHERS = 2
_CHANCE = 0.01
_MOST_EPOCHS = 4


@dataclass(frozen=True)
class Parted:
    """`pairs` with the readings of past epochs under gauges of their own, numbered below nought.

    `began` says when the present epoch of a gauge began, for those that have had more than one, and `chances`
    how likely so clear a step is by chance, in any of the places where one could have been.
    """

    pairs: pd.DataFrame
    began: dict[int, float]
    chances: dict[int, float]


def parted(pairs: pd.DataFrame) -> Parted:
    """Part the readings of each gauge where it took a step that other clinics' gauges did not take.

    What a build does at a date all its readers see; so a step counts only beyond the one that other clinics
    saw then on the same builds, and not at all where none of them read on. Without times nothing is parted.
    """
    told = shared(pairs)
    if not len(told) or "at" not in told:
        return Parted(pairs, {}, {})
    fitted = fit_pairs(told)
    apart, at = fitted.values - fitted.of_build, told["at"].to_numpy(float)
    gauge, build, clinic = (told[name].to_numpy(np.int64) for name in ("gauge", "build", "clinic"))
    began, chances = dict[int, float](), dict[int, float]()
    for one in np.unique(gauge).tolist():
        rows = np.flatnonzero(gauge == one)
        others = np.flatnonzero((clinic != clinic[rows[0]]) & np.isin(build, build[rows]))
        step = _last_step(_Course(apart[rows], at[rows], apart[others], at[others], fitted.spread))
        if step is not None:
            began[one], chances[one] = step
    return Parted(pairs.assign(gauge=_epochs(pairs, began)), began, chances)


def _epochs(pairs: pd.DataFrame, began: dict[int, float]) -> NDArray[np.int64]:
    gauge = pairs["gauge"].to_numpy(np.int64)
    start = np.array([began.get(one, -np.inf) for one in gauge.tolist()])
    return np.where(pairs["at"].to_numpy(float) < start, -1 - gauge, gauge)


@dataclass(frozen=True)
class _Course:
    """What one gauge read, and what other clinics read of the same builds, with when."""

    apart: Floats
    at: Floats
    others: Floats
    others_at: Floats
    spread: float

    def after(self, moment: float) -> "_Course":
        """The course from a moment on."""
        mine, theirs = self.at >= moment, self.others_at >= moment
        return _Course(
            self.apart[mine], self.at[mine], self.others[theirs], self.others_at[theirs], self.spread
        )


def _last_step(course: _Course) -> tuple[float, float] | None:
    """When the present epoch began, and how likely so clear a step is by chance; None without a step."""
    found = None
    for _ in range(_MOST_EPOCHS):
        step = _step(course)
        if step is None:
            break
        found, course = step, course.after(step[0])
    return found


def _step(course: _Course) -> tuple[float, float] | None:
    """Where the later values lie most surely apart from the earlier ones, if they surely do."""
    order = np.argsort(course.at, kind="stable")
    apart, at, size = course.apart[order], course.at[order], course.at.size
    places = np.arange(LEAST_UNITS, size - LEAST_UNITS + 1)
    places = places[at[places] > at[places - 1]] if places.size else places
    if not places.size:
        return None
    total = np.cumsum(apart)
    steps = (total[-1] - total[places - 1]) / (size - places) - total[places - 1] / places
    weight = 1 / places + 1 / (size - places)
    best = int(np.argmax(np.abs(steps) / np.sqrt(weight)))
    moment = float(at[places[best]])
    before, after = course.others[course.others_at < moment], course.others[course.others_at >= moment]
    if min(before.size, after.size) < LEAST_OTHERS:
        return None
    step = float(steps[best] - (after.mean() - before.mean()))
    error = course.spread * float(np.sqrt(weight[best] + 1 / before.size + 1 / after.size))
    chance = min(1.0, places.size * 2 * float(stats.norm.sf(abs(step) / error)))
    return (moment, chance) if chance < _CHANCE and abs(step) >= LEAST_STEP else None
