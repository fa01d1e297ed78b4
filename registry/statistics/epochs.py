"""When a gauge, which read as others do, began to read otherwise: it is then taken for two gauges.

Works on a table from `pair_table` with `at` besides: when each unit was last read with the gauge, in seconds.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.robust import Floats
from registry.statistics.taming import fit_pairs, shared

# A step between two epochs of a gauge: as large as matters, seen on so many units on either side, and by
# chance in one gauge of a hundred at most.
LEAST_STEP = 0.04
LEAST_UNITS = 3
LEAST_OTHERS = 2
_CHANCE = 0.02
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
    weight = fitted.spreads**-2
    gauge, build, clinic = (told[name].to_numpy(np.int64) for name in ("gauge", "build", "clinic"))
    began, chances = dict[int, float](), dict[int, float]()
    for one in np.unique(gauge).tolist():
        rows = np.flatnonzero(gauge == one)
        others = np.flatnonzero((clinic != clinic[rows[0]]) & np.isin(build, build[rows]))
        # What another gauge leans by all along says nothing of what happened at a date.
        theirs = apart[others] - fitted.of_gauge[others]
        step = _last_step(_Course(apart[rows], at[rows], weight[rows], theirs, at[others], weight[others]))
        if step is not None:
            began[one], chances[one] = step
    return Parted(pairs.assign(gauge=_epochs(pairs, began)), began, chances)


def _epochs(pairs: pd.DataFrame, began: dict[int, float]) -> NDArray[np.int64]:
    gauge = pairs["gauge"].to_numpy(np.int64)
    start = np.array([began.get(one, -np.inf) for one in gauge.tolist()])
    return np.where(pairs["at"].to_numpy(float) < start, -1 - gauge, gauge)


@dataclass(frozen=True)
class _Course:
    """What one gauge read, and what other clinics read of the same builds, with when.

    Weights are one over the variance of each: units of some builds lie closer together than those of others.
    """

    apart: Floats
    at: Floats
    weight: Floats
    others: Floats
    others_at: Floats
    others_weight: Floats

    def after(self, moment: float) -> "_Course":
        """The course from a moment on."""
        mine, theirs = self.at >= moment, self.others_at >= moment
        return _Course(
            *(column[mine] for column in (self.apart, self.at, self.weight)),
            *(column[theirs] for column in (self.others, self.others_at, self.others_weight)),
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
    """Where the later values lie most surely apart from the earlier ones, if they surely do.

    The chance is charged for the places looked at and for looking again and again: see `_looks`.
    """
    order = np.argsort(course.at, kind="stable")
    apart, at, weight = course.apart[order], course.at[order], course.weight[order]
    places = np.arange(LEAST_UNITS, at.size - LEAST_UNITS + 1)
    places = places[at[places] > at[places - 1]] if places.size else places
    if not places.size:
        return None
    total, known = np.cumsum(apart * weight), np.cumsum(weight)
    before, after = known[places - 1], known[-1] - known[places - 1]
    steps = (total[-1] - total[places - 1]) / after - total[places - 1] / before
    variance = 1 / before + 1 / after
    best = int(np.argmax(np.abs(steps) / np.sqrt(variance)))
    moment = float(at[places[best]])
    elsewhere = _step_elsewhere(course, moment)
    if elsewhere is None:
        return None
    step = float(steps[best] - elsewhere[0])
    score = abs(step) / float(np.sqrt(variance[best] + elsewhere[1]))
    chance = 2 * float(special.ndtr(-score)) * _looks(at.size, score)
    return (moment, chance) if chance < _CHANCE and abs(step) >= LEAST_STEP else None


def _looks(units: int, score: float) -> float:
    """How many times likelier chance reaches a score in any place at any of the looks so far than at one.

    A look a unit, from the least number of units on. Simulated for 6 to 40 units and scores of 3 to 4, where
    it comes to 0.5 to 0.95 of this.
    """
    looks = units - 2 * LEAST_UNITS + 1
    return min(looks * (looks + 1) / 2, looks * max(1.0, score**2 / 4.5))


def _step_elsewhere(course: _Course, moment: float) -> tuple[float, float] | None:
    """The step other clinics saw at a moment, with its variance; None where too few of them read on."""
    later = course.others_at >= moment
    if min(later.sum(), (~later).sum()) < LEAST_OTHERS:
        return None
    weights = [course.others_weight[side] for side in (later, ~later)]
    after, before = (
        float(np.average(course.others[side], weights=weight))
        for side, weight in zip((later, ~later), weights, strict=True)
    )
    return after - before, float(sum(1 / weight.sum() for weight in weights))
