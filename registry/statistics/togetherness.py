"""How alike a unit deviates from its build in two readings: a fast unit is fast at every level."""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

# Taken for granted before looking, and as how many degrees of freedom: what a unit has of its own in one
# metric is mostly the same at its other settings. Common practice, no published source.
_SAME_METRIC = 0.7
_BELIEF = 6.0
# Two metrics of vacuum share the gauge's zero, not its gain; a gauge's clock has no part in either.
_GAUGE_ACROSS = 0.5
_CLOCKED = frozenset({"cycle_rate"})
_MOST = 0.98

Keys = NDArray[np.int64]
Code = tuple[Hashable, str]


@dataclass(frozen=True)
class Seen:
    """Units of one build as read by groups (a gauge of a clinic each): keys and means, a row a reading."""

    unit: Keys
    group: Keys
    mean: Floats


@dataclass
class Together:
    """Correlations between readings, each a code of setting and metric; `seen` holds a table a build."""

    seen: Mapping[Code, Sequence[Seen]]
    _known: dict[frozenset[Code], float] = field(default_factory=dict)

    def of_units(self, one: Code, other: Code) -> float:
        """Correlation of what units have of their own in two readings.

        From units that one group read at both, less their group's mean, drawn towards what is usual by six
        degrees of freedom.
        """
        if one == other:
            return 1.0
        pair = frozenset((one, other))
        if pair not in self._known:
            self._known[pair] = self._found(one, other)
        return self._known[pair]

    def _found(self, one: Code, other: Code) -> float:
        usual = _SAME_METRIC if one[1] == other[1] else 0.0
        sums = np.zeros(3)
        freedom = 0.0
        for first, second in zip(self.seen.get(one, ()), self.seen.get(other, ()), strict=False):
            more, free = _products(first, second)
            sums, freedom = sums + more, freedom + free
        size = float(np.sqrt(sums[0] * sums[1]))
        if freedom < 1 or size <= 0:
            return usual
        found = (freedom * float(sums[2]) / size + _BELIEF * usual) / (freedom + _BELIEF)
        return float(np.clip(found, -_MOST, _MOST))


def of_gauges(one: str, other: str) -> float:
    """Correlation of what one gauge does to two metrics."""
    if one == other:
        return 1.0
    return 0.0 if {one, other} & _CLOCKED else _GAUGE_ACROSS


def _products(first: Seen, second: Seen) -> tuple[Floats, float]:
    """Squares of either and products of both, of deviations within groups; and their degrees of freedom."""
    rows, others = (of.unit * 2**32 + of.group for of in (first, second))
    _, mine, theirs = np.intersect1d(rows, others, return_indices=True)
    if mine.size < 2:
        return np.zeros(3), 0.0
    group = np.unique(first.group[mine], return_inverse=True)[1]
    size = np.bincount(group)
    x, y = (
        values - (np.bincount(group, values) / size)[group]
        for values in (first.mean[mine], second.mean[theirs])
    )
    return np.array([x @ x, y @ y, x @ y]), float(mine.size - size.size)
