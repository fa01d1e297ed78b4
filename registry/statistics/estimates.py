"""Figures with their standard errors, by Student's t, and what puts variance into them."""

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

import numpy as np
from scipy import special

from registry.statistics.crossed import CERTAIN
from registry.statistics.designs import Codes
from registry.statistics.robust import Floats

Figure = TypeVar("Figure", float, Floats)

_HAIR = 1e-300
# Units count as cancelled only to a third of the degree they are: found by simulated coverage.
_WARY = 3.0


@dataclass(frozen=True)
class _ByStudent(Generic[Figure]):
    """What a figure or many, their standard errors and degrees of freedom tell by Student's t."""

    value: Figure
    error: Figure
    freedom: Figure

    def interval(self, coverage: float = 0.95) -> tuple[Figure, Figure]:
        """Both ends."""
        half = special.stdtrit(self.freedom, (1 + coverage) / 2) * self.error
        return self.value - half, self.value + half

    def p_above(self, bound: Figure | float) -> Figure:
        """One-sided p-value against the figure's being at or below `bound`."""
        return self._tail(self.value - bound)

    def p_below(self, bound: Figure | float) -> Figure:
        """One-sided p-value against the figure's being at or above `bound`."""
        return self._tail(bound - self.value)

    def p_apart(self, bound: Figure | float = 0.0) -> Figure:
        """Two-sided p-value against the figure's being `bound`."""
        return self._tail(np.abs(self.value - bound), sides=2)

    def _tail(self, distance: Any, sides: int = 1) -> Figure:
        """P-value of so large a distance on one side or either; 0 or 1 where there is no error."""
        sure = np.asarray(self.error) <= 0
        scaled = -np.asarray(distance) / np.where(sure, 1.0, self.error)
        certain = np.where(np.asarray(distance) > 0, 0.0, 1.0)
        one_sided = np.where(sure, certain, special.stdtr(self.freedom, scaled))
        # A number of a number, an array of an array.
        found: Figure = np.minimum(1.0, sides * one_sided)[()]
        return found


class Estimate(_ByStudent[float]):
    """A linear figure of the cells' means, its standard error and the degrees of freedom that is known to."""


class Estimates(_ByStudent[Floats]):
    """Many of them, a row each."""

    def some(self, places: Codes | slice) -> "Estimates":
        """Some of them."""
        return Estimates(self.value[places], self.error[places], self.freedom[places])

    def one(self, place: int) -> Estimate:
        """One of them by itself."""
        return Estimate(float(self.value[place]), float(self.error[place]), float(self.freedom[place]))


@dataclass(frozen=True)
class Parts:
    """What weighted sums of readings hold of each variance, a row a sum, or several side by side.

    `unit` is how much of the variance between units of each kin they hold, `share` how much of the readings'
    of each kin, `noise` what the noise of those puts in; `own` and `group` are what units of their own in
    cells, and groups, put in. `unit`, `share` and `noise` have a last axis for kins.
    """

    unit: Floats
    share: Floats
    noise: Floats
    own: Floats
    group: Floats


@dataclass(frozen=True)
class Known:
    """The variance between units of each kin, and the degrees of freedom each variance is known to."""

    unit: Floats
    unit_freedom: Floats
    own_freedom: Floats
    group_freedom: Floats

    def beside(self) -> "Known":
        """The same for sums that lie side by side."""
        return Known(
            self.unit[:, None],
            self.unit_freedom[:, None],
            self.own_freedom[:, None],
            self.group_freedom[:, None],
        )

    @property
    def freedom(self) -> Floats:
        """Of the parts that `variances` returns, in their order."""
        alone = [self.own_freedom[..., None], self.group_freedom[..., None]]
        return np.concatenate([self.unit_freedom, *alone], axis=-1)


def variances(parts: Parts, known: Known) -> Floats:
    """What units of each kin, what is left where they cancel, and groups put into sums: a column each.

    Units and noise are known from one sum of squares: where little is known, noise alone never passes for all
    there is. As far as units cancel, noise is known from repeats, or with what units have of their own in
    each cell.
    """
    left = np.minimum(_WARY * parts.unit / np.maximum(parts.share, _HAIR), 1.0)
    cancelled = parts.own + ((1 - left) * parts.noise).sum(axis=-1)
    alone = [cancelled[..., None], parts.group[..., None]]
    return np.concatenate([known.unit * parts.unit + left * parts.noise, *alone], axis=-1)


def pooled(parts: Floats, freedom: Floats) -> tuple[Floats, Floats]:
    """Standard errors of variances put together along the last axis, and Satterthwaite's degrees of freedom
    (GUM G.4)."""
    variance = parts.sum(axis=-1)
    doubt = (parts**2 / freedom).sum(axis=-1)
    sure = doubt <= 0
    return variance**0.5, np.where(sure, CERTAIN, variance**2 / np.where(sure, 1.0, doubt))


def estimated(values: Floats, parts: Parts, known: Known) -> Estimates:
    """The figures of such values, with what their parts say of how sure they are."""
    return Estimates(values, *pooled(variances(parts, known), known.freedom))
