"""When a gauge, which read as others do, began to read otherwise: it is then taken for two gauges.

Works on a table from `pair_table` with `at` besides: when each unit was last read with the gauge, in seconds.
"""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import special

from registry.statistics.courses import Course
from registry.statistics.robust import Floats, scaled_mad
from registry.statistics.taming import Fitted, fit_pairs, shared

# A step between two epochs of a gauge: as large as matters, seen on so many units on either side and in most
# of those since, and by chance in one gauge of fifty at most.
LEAST_STEP = 0.04
LEAST_AGREEING = 0.75
LEAST_UNITS = 3
LEAST_OTHERS = 2
_CHANCE = 0.02
_MOST_EPOCHS = 4
# Builds do not change as a rule, so what others saw is no step of theirs unless it is so many standard errors
# large; how poorly it is known counts always.
_SEEN = 2.5
# Below this no step other clinics saw makes one of it.
_WORTH_A_LOOK = 2.0
# So many places are tried, the likeliest first.
_LIKELIEST = 5
# Without the unit that says most for it a step has to be beyond chance at its place (a chi square at 95 %).
_WITHOUT_ONE = 3.84


@dataclass(frozen=True)
class Step:
    """The step at which a gauge's present epoch began: `at` when, by how much as a logarithm (`size`), with
    its standard `error`. `chance` is that of one so clear in any place at any look. `agreeing` is the share
    of units since that lie nearer to those than to earlier ones, `halves_agree` says whether either half of
    them would do alone."""

    at: float
    size: float
    error: float
    chance: float
    agreeing: float
    halves_agree: bool


@dataclass(frozen=True)
class Parted:
    """`pairs` with the readings of past epochs under gauges of their own, numbered below nought, and the
    `steps` by which the present epochs began of those gauges that have had more than one. Where none had,
    `fitted` is the fit of what clinics share of the pairs, for who goes on with them."""

    pairs: pd.DataFrame
    steps: dict[int, Step]
    fitted: Fitted | None = None


def parted(pairs: pd.DataFrame) -> Parted:
    """Part the readings of each gauge where it took a step that other clinics' gauges did not take.

    What a build does at a date all its readers see; so a step counts only beyond the one that other clinics
    saw then on the same builds, and not at all where none of them read on. Without times nothing is parted.
    """
    told = shared(pairs)
    if not len(told) or "at" not in told:
        return Parted(pairs, {})
    fitted = fit_pairs(told)
    read = _Read.of(told, fitted)
    found = {
        gauge: _last_step(read, rows) for gauge, rows in _places(told["gauge"].to_numpy(np.int64)).items()
    }
    steps = {gauge: step for gauge, step in found.items() if step is not None}
    return Parted(pairs.assign(gauge=_epochs(pairs, steps)), steps, None if steps else fitted)


def _places(keys: NDArray[np.int64]) -> dict[int, NDArray[np.intp]]:
    """The rows of each key."""
    order = np.argsort(keys, kind="stable")
    found, starts = np.unique(keys[order], return_index=True)
    return dict(zip(found.tolist(), np.split(order, starts[1:]), strict=True))


def past_of(gauge: int) -> int:
    """The number that a gauge's past epochs go by."""
    return -1 - gauge


def _epochs(pairs: pd.DataFrame, steps: dict[int, Step]) -> NDArray[np.int64]:
    gauge, at = pairs["gauge"].to_numpy(np.int64), pairs["at"].to_numpy(float)
    found = gauge.copy()
    for one, step in steps.items():
        found[(gauge == one) & (at < step.at)] = past_of(one)
    return found


@dataclass(frozen=True)
class _Read:
    """All readings, a row each: `apart` is how far one lies from its build as other clinics hold it, `held`
    the variance of that; `left` what build and gauge leave of it. `lean` is what sound gauges lean by."""

    at: Floats
    clinic: NDArray[np.int64]
    build: NDArray[np.intp]
    apart: Floats
    left: Floats
    variance: Floats
    held: Floats
    of_build: dict[int, NDArray[np.intp]]
    lean: float

    @classmethod
    def of(cls, told: pd.DataFrame, fitted: Fitted) -> "_Read":
        build, clinic = np.unique(told["build"], return_inverse=True)[1], told["clinic"].to_numpy(np.int64)
        pair = told.groupby(["build", "clinic"]).ngroup().to_numpy()
        free, variance = fitted.values - fitted.of_gauge, fitted.spreads**2
        others = np.bincount(build)[build] - np.bincount(pair)[pair]
        sums = np.bincount(build, free)[build] - np.bincount(pair, free)[pair]
        return cls(
            at=told["at"].to_numpy(float),
            clinic=clinic,
            build=build,
            apart=told["apart"].to_numpy(float) - sums / others,
            left=free - fitted.of_build,
            variance=variance,
            held=variance / others,
            of_build=_places(build),
            lean=_usual_lean(told, fitted),
        )

    def course(self, rows: NDArray[np.intp]) -> Course:
        """The course of the gauge that read these rows."""
        rows = rows[np.argsort(self.at[rows], kind="stable")]
        build = np.unique(self.build[rows], return_inverse=True)[1]
        return Course(self.apart[rows], self.at[rows], build, self.variance[rows], self.held[rows])

    def elsewhere(self, rows: NDArray[np.intp], since: float, moment: float) -> tuple[float, float] | None:
        """The step other clinics saw at a moment on the builds of these rows, from `since` on, and its
        variance; None where too few of them read on. What they lean by all along says nothing of it."""
        near = np.concatenate([self.of_build[build] for build in np.unique(self.build[rows]).tolist()])
        near = near[(self.clinic[near] != self.clinic[rows[0]]) & (self.at[near] >= since)]
        later = self.at[near] >= moment
        if min(later.sum(), (~later).sum()) < LEAST_OTHERS:
            return None
        weight = 1.0 / self.variance[near]
        sums = [float(weight[side].sum()) for side in (later, ~later)]
        means = [
            float(weight[side] @ self.left[near][side]) / total
            for side, total in zip((later, ~later), sums, strict=True)
        ]
        return means[0] - means[1], 1 / sums[0] + 1 / sums[1]


def _usual_lean(told: pd.DataFrame, fitted: Fitted) -> float:
    """What gauges lean by: as they declare, or more where most are seen to."""
    declared = float(np.sqrt((told["systematic"] ** 2).mean()))
    seen = pd.Series(fitted.of_gauge).groupby(told["gauge"].to_numpy()).first().to_numpy(float)
    return max(declared, scaled_mad(seen) if seen.size > 2 else 0.0, 1e-4)


@dataclass(frozen=True)
class _Epoch:
    """A gauge's epoch in which a step is looked for: its `rows`, the `whole` course from `since` on, the
    `course` without wild units, and the standard deviation of what it may `lean` by before."""

    read: _Read
    rows: NDArray[np.intp]
    whole: Course
    course: Course
    since: float
    lean: float

    @classmethod
    def first(cls, read: _Read, rows: NDArray[np.intp]) -> "_Epoch":
        """All that a gauge read."""
        whole = read.course(rows)
        return cls(read, rows, whole, whole.tamed(), -np.inf, read.lean)

    def after(self, moment: float) -> "_Epoch":
        """What it read since. What a gauge came to lean by says nothing of what sound ones do."""
        whole, course = self.whole.after(moment), self.course.after(moment)
        return replace(self, whole=whole, course=course, since=moment, lean=np.inf)

    def step(self) -> Step | None:
        """Where the later values lie most surely apart from the earlier ones, if they surely do.

        Where what some wild units say makes the likeliest place none, others of the likeliest are tried.
        """
        at = self.course.at
        places = np.arange(LEAST_UNITS, at.size - LEAST_UNITS + 1)
        places = places[at[places] > at[places - 1]] if places.size else places
        if not places.size:
            return None
        sizes, variances = (column[places - 1] for column in self.course.steps(self.lean))
        scores = np.abs(sizes) / np.sqrt(variances)
        for k in np.argsort(-scores, kind="stable")[:_LIKELIEST]:
            place = int(places[k])
            seen = self._elsewhere(place) if scores[k] >= _WORTH_A_LOOK else None
            if seen is None:
                return None
            score = abs(float(sizes[k]) - seen[0]) / float(np.sqrt(variances[k] + seen[1]))
            if _chance(score, at.size) >= _CHANCE:
                return None
            step = self._held(place, seen, score)
            if step is not None:
                return step
        return None

    def _elsewhere(self, place: int) -> tuple[float, float] | None:
        """The step other clinics clearly saw then, nought where they saw none, and its variance."""
        found = self.read.elsewhere(self.rows, self.since, float(self.course.at[place]))
        return found and (found[0] if abs(found[0]) > _SEEN * found[1] ** 0.5 else 0.0, found[1])

    def _held(self, place: int, seen: tuple[float, float], score: float) -> Step | None:
        """The step at a place, if it matters and no few units carry it.

        The chance is charged for the places looked at and for looking again and again: see `_looks`. It is no
        less than what values say each of which may be wild.
        """
        moment = float(self.course.at[place])
        said, without_one = self.whole.said_for(moment, seen[0], self.lean)
        chance = _chance(min(score, said**0.5), self.course.at.size)
        # What gauges usually lean by makes a step surer; how large it is shows without.
        free = self.course.steps(np.inf)
        size = float(free.sizes[place - 1]) - seen[0]
        error = float(np.sqrt(free.variances[place - 1] + seen[1]))
        if chance >= _CHANCE or without_one < _WITHOUT_ONE or abs(size) < LEAST_STEP:
            return None
        step = _told(self.course, place, moment, (size, error, chance))
        return step if step.agreeing >= LEAST_AGREEING else None


def _last_step(read: _Read, rows: NDArray[np.intp]) -> Step | None:
    """The step by which the present epoch began; None without one."""
    found, epoch = None, _Epoch.first(read, rows)
    for _ in range(_MOST_EPOCHS):
        step = epoch.step()
        if step is None:
            break
        found, epoch = step, epoch.after(step.at)
    return found


def _chance(score: float, units: int) -> float:
    """The chance of a step as clear at any place at any look."""
    return 2 * float(special.ndtr(-score)) * _looks(units, score)


def _told(course: Course, place: int, moment: float, found: tuple[float, float, float]) -> Step:
    size, error, chance = found
    weight = 1.0 / course.variance
    before = float(np.average(course.apart[:place], weights=weight[:place]))
    beyond = np.sign(size) * (course.apart[place:] - before)
    halves = [float(np.average(beyond[k::2], weights=weight[place:][k::2])) for k in (0, 1)]
    least = max(0.75 * LEAST_STEP, 1.96 * 2**0.5 * error)
    agreeing = float(np.average(beyond >= abs(size) / 2, weights=weight[place:]))
    return Step(moment, size, error, min(chance, 1.0), agreeing, min(halves) >= least)


def _looks(units: int, score: float) -> float:
    """How many times likelier chance reaches a score in any place at any of the looks so far than at one.

    A look a unit, from the least number of units on. Simulated for 8, 12, 17, 25 and 40 units and scores of
    3, 3.5 and 4, whatever is known of the lean: there it comes to 0.9 to 1.2 of this.
    """
    looks = units - 2 * LEAST_UNITS + 1
    return looks * (1.0 + max(0.0, 2.0 * score - 5.0) * looks / (looks + 13.0))
