"""What several readings of one pump are under one build, all at once: a multivariate Student's t."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from registry.statistics.foreseen import Foreseen
from registry.statistics.robust import Floats
from registry.statistics.togetherness import Code, Together, of_gauges

# Rounding and drawn-in correlations may leave a matrix a hair from having a root.
_LEAST_EIGEN = 1e-9
# How much a build that nobody measured may differ from the others: a share of the value. Builds differ alike
# at all settings, and such a guess is known to four degrees of freedom. Common practice, no published source.
BUILD_SPREAD = 0.12
_BUILD_ALIKE = 0.9
_BUILD_FREEDOM = 4.0


@dataclass(frozen=True)
class Reading:
    """One metric of one trace: its setting and metric, its gauge, its value and standard uncertainties."""

    code: Code
    gauge: int
    value: float
    random: float
    systematic: float


@dataclass(frozen=True)
class Predictive:
    """A multivariate Student's t: centre, squared scale and degrees of freedom."""

    centre: Floats
    scale: Floats
    freedom: float

    @cached_property
    def _root(self) -> Floats:
        values, vectors = np.linalg.eigh(self.scale)
        root: Floats = vectors * np.sqrt(np.maximum(values, _LEAST_EIGEN * values.max()))
        return root

    @cached_property
    def _inverse(self) -> Floats:
        return np.asarray(np.linalg.pinv(self._root), float)

    def logs(self, points: Floats) -> Floats:
        """Natural logarithm of the density at points, a row each."""
        size, freedom = self.centre.size, self.freedom
        apart = (points - self.centre) @ self._inverse.T
        squares = np.sum(apart**2, axis=1)
        whole = float(
            special.gammaln((freedom + size) / 2)
            - special.gammaln(freedom / 2)
            - size / 2 * np.log(freedom * np.pi)
            + np.sum(np.log(np.abs(np.linalg.svd(self._inverse, compute_uv=False))))
        )
        logs: Floats = whole - (freedom + size) / 2 * np.log1p(squares / freedom)
        return logs

    def first(self, size: int) -> "Predictive":
        """The same of the first values alone."""
        return Predictive(self.centre[:size], self.scale[:size, :size], self.freedom)

    def after(self, values: Floats) -> "Predictive":
        """What remains of the values behind, once the first ones are known to be `values`."""
        size = values.size
        if not size:
            return self
        near, cross, far = self.scale[:size, :size], self.scale[size:, :size], self.scale[size:, size:]
        gain = np.linalg.solve(near, cross.T).T
        apart = values - self.centre[:size]
        stretch = (self.freedom + float(apart @ np.linalg.solve(near, apart))) / (self.freedom + size)
        return Predictive(
            self.centre[size:] + gain @ apart, stretch * (far - gain @ cross.T), self.freedom + size
        )

    def drawn(self, cube: Floats) -> Floats:
        """Points of this distribution from points of the unit cube of one dimension more."""
        normal = special.ndtri(cube[:, :-1])
        stretch = np.sqrt(special.chdtri(self.freedom, cube[:, -1]) / self.freedom)
        points: Floats = self.centre + (normal / stretch[:, None]) @ self._root.T
        return points


def predict(foreseen: Sequence[Foreseen], readings: Sequence[Reading], together: Together) -> Predictive:
    """What one build makes of readings of one pump: `foreseen` holds what it does at each of them.

    A unit's own deviation and a gauge's lean are shared by all readings they are part of; runs are each
    other's strangers. So two traces of one pump never count as two pumps.
    """
    units = _pairs(readings, together.of_units)
    gauges = _pairs_of_gauges(readings)
    scale = _spread(units, [one.centre + one.unit for one in foreseen])
    scale += _spread(gauges, [one.clinic for one in foreseen])
    scale += _spread(gauges, [reading.systematic**2 for reading in readings])
    random = [max(one.run, of.random**2) for one, of in zip(foreseen, readings, strict=True)]
    known = [one.freedom(of.systematic, of.random) for one, of in zip(foreseen, readings, strict=True)]
    return Predictive(np.array([one.value for one in foreseen]), _rooted(scale + np.diag(random)), min(known))


def predict_unknown(
    middle: Sequence[Foreseen], readings: Sequence[Reading], together: Together
) -> Predictive:
    """The same for a build that nobody measured: about the middle of the others, and wide."""
    known = predict(middle, readings, together)
    alike = _pairs(
        readings, lambda one, other: (1.0 if one == other else _BUILD_ALIKE) if one[1] == other[1] else 0.0
    )
    wide = _spread(alike, [(BUILD_SPREAD * one.value) ** 2 for one in middle])
    return Predictive(known.centre, _rooted(known.scale + wide), min(known.freedom, _BUILD_FREEDOM))


def _pairs(readings: Sequence[Reading], alike: Callable[[Code, Code], float]) -> Floats:
    return np.array([[alike(one.code, other.code) for other in readings] for one in readings])


def _pairs_of_gauges(readings: Sequence[Reading]) -> Floats:
    return np.array(
        [
            [of_gauges(one.code[1], other.code[1]) if one.gauge == other.gauge else 0.0 for other in readings]
            for one in readings
        ]
    )


def _spread(correlations: Floats, variances: Sequence[float]) -> Floats:
    deviations = np.sqrt(np.array(variances))
    made: Floats = correlations * np.outer(deviations, deviations)
    return made


def _rooted(scale: Floats) -> Floats:
    """The nearest matrix that is one of covariances: correlations found pair by pair need not be."""
    values, vectors = np.linalg.eigh(scale)
    if values.min() > _LEAST_EIGEN * values.max():
        return scale
    made: Floats = (vectors * np.maximum(values, _LEAST_EIGEN * values.max())) @ vectors.T
    return made
