"""What one gauge read in the order of time, and the step that explains it best.

Every value is build + lean + step (from a moment on) + unit. Builds are held by what other clinics read of
them, units scatter by what those of their build do, and a lean is random: what sound gauges lean by.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from registry.statistics.bounded import said_for_step
from registry.statistics.robust import Floats, reined

Codes = NDArray[np.intp]
# A wild unit stands apart from those read just before and after it; what came after a step does not. Most of
# five values are of one side as soon as three lie on it.
_NEIGHBOURS = 5
# What units of a build scatter by follows from far more of them than these few.
_WELL_KNOWN = 50


class Steps(NamedTuple):
    """For every place before which there are values: the step there and its variance."""

    sizes: Floats
    variances: Floats


@dataclass(frozen=True)
class Course:
    """A gauge's values in order of time: how far each is `apart` from its build as others hold it, `at` when,
    with the `variance` between units of its build and with that of the build's own centre (`held`)."""

    apart: Floats
    at: Floats
    build: Codes
    variance: Floats
    held: Floats

    def after(self, moment: float) -> "Course":
        """The course from a moment on."""
        return self.chosen(self.at >= moment)

    def chosen(self, rows: NDArray[np.bool_]) -> "Course":
        """The same with some rows only."""
        return Course(self.apart[rows], self.at[rows], self.build[rows], self.variance[rows], self.held[rows])

    def tamed(self) -> "Course":
        """The same without wild units, and with those that are nearly so counted for less.

        By how much robust fitting would rein them in about what was read around them. They are left out and
        not moved there, as what is made up is no evidence.
        """
        size = self.apart.size
        if size < _NEIGHBOURS:
            return self
        start = np.clip(np.arange(size) - _NEIGHBOURS // 2, 0, size - _NEIGHBOURS)
        apart = self.apart - np.median(self.apart[start[:, None] + np.arange(_NEIGHBOURS)], axis=1)
        kept = reined(apart, np.sqrt(self.variance), _WELL_KNOWN)
        share = np.divide(kept, apart, out=np.ones(size), where=apart != 0)
        sound = self.chosen(share > 0)
        return replace(sound, variance=sound.variance / share[share > 0])

    def said_for(self, moment: float, seen: float, lean: float) -> tuple[float, float]:
        """What the values say for a step at a moment beyond the one that is `seen` elsewhere, and without the
        one that says most: see `bounded.said_for_step`."""
        place = int(np.searchsorted(self.at, moment))
        apart = np.concatenate([self.apart[:place], self.apart[place:] - seen])
        return said_for_step(apart, self.variance + self.held, place, lean)

    def steps(self, lean: float) -> Steps:
        """The step before each value but the first by generalised least squares.

        `lean` is the standard deviation of what the gauge leaned by before; infinite where nothing is known
        of it. With S the covariance of the values and e the column of ones from the place on, sums like
        e' inv(S) e follow for all places at once from sums over the rows, latest first, and over those of
        each build (Woodbury's identity).
        """
        weight = 1.0 / self.variance
        in_build = np.bincount(self.build, weight)[self.build]
        pull = self.held / (1.0 + self.held * in_build)
        read = np.bincount(self.build, weight * self.apart)[self.build]
        since = _summed_within(weight, self.build)
        own = np.cumsum((weight - pull * (since**2 - (since - weight) ** 2))[::-1])[::-1]
        cross = np.cumsum((weight - pull * weight * in_build)[::-1])[::-1]
        scores = np.cumsum((weight * self.apart - pull * weight * read)[::-1])[::-1]
        level = cross[0] + 1.0 / lean**2
        variances = 1.0 / np.maximum(own - cross**2 / level, 1e-12)[1:]
        return Steps(variances * (scores - cross / level * scores[0])[1:], variances)


def _summed_within(weight: Floats, build: Codes) -> Floats:
    """The weight of each row and of all later ones of its build."""
    order = np.lexsort((-np.arange(build.size), build))
    total = np.cumsum(weight[order])
    starts = np.flatnonzero(np.diff(build[order], prepend=-1))
    before = np.repeat(total[starts] - weight[order][starts], np.diff(starts, append=build.size))
    found = np.empty(build.size)
    found[order] = total - before
    return found
