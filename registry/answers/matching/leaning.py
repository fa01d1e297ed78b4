"""What a setting's mean rests on, gauge by gauge: enough to hold settings of two pumps beside each other.

Two pumps share no units. What means of their settings have in common is the lean of gauges that read both,
which cancels as far as a gauge counts alike in both. So a difference between pumps follows from what is kept
of either alone: each mean, the variance that units and noise put into it, and of every gauge the weight and
the variance of its lean.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.answers.blocks import Block
from registry.answers.packing import UNDECLARED
from registry.answers.readings import sound_rows
from registry.statistics.crossed import CERTAIN
from registry.statistics.differences import Fits
from registry.statistics.robust import Floats

_HAIR = 1e-300
Keys = NDArray[np.int64]


@dataclass(frozen=True)
class Leaning:
    """Means of places, and what gauges put into them.

    `means` has a row a place and metric (`of_place`, `of_metric`): the mean, its variance but for gauges, to
    how many degrees of freedom that is known, and those of the variance of gauges. The other columns have a
    row a gauge in one of these means (`of_mean`, which ascends): the gauge's key, its weight and the variance
    of its lean.
    """

    of_place: Keys
    of_metric: Keys
    means: Floats
    of_mean: Keys
    gauge: Keys
    weight: Floats
    variance: Floats

    def of(self, place: int, metric: int) -> "Leaning":
        """The same of a place and metric."""
        size = self.of_place.size
        return replace(
            self, of_place=np.full(size, place, np.int64), of_metric=np.full(size, metric, np.int64)
        )

    def at(self, place: int, metric: int) -> "Leaning":
        """That of one mean, empty where it is not known."""
        mean = self._places.get((place, metric))
        if mean is None:
            return no_leaning()
        kept, (first, last) = slice(mean, mean + 1), np.searchsorted(self.of_mean, (mean, mean + 1))
        rows = slice(int(first), int(last))
        return Leaning(
            self.of_place[kept],
            self.of_metric[kept],
            self.means[kept],
            np.zeros(last - first, np.int64),
            self.gauge[rows],
            self.weight[rows],
            self.variance[rows],
        )

    @cached_property
    def _places(self) -> dict[tuple[int, int], int]:
        """Where each mean is."""
        return {
            key: at
            for at, key in enumerate(zip(self.of_place.tolist(), self.of_metric.tolist(), strict=True))
        }

    @staticmethod
    def joined(several: Sequence["Leaning"]) -> "Leaning":
        """Several one after another."""
        several = several or [no_leaning()]
        before = np.cumsum([0, *(one.of_place.size for one in several)])
        columns = {of.name: [getattr(one, of.name) for one in several] for of in fields(Leaning)}
        columns["of_mean"] = [one + start for one, start in zip(columns["of_mean"], before, strict=False)]
        return Leaning(**{name: np.concatenate(column) for name, column in columns.items()})


def no_leaning() -> Leaning:
    """Nothing is known."""
    none = np.zeros(0, np.int64)
    return Leaning(none, none, np.zeros((0, 4)), none, none, np.zeros(0), np.zeros(0))


def leanings_of(blocks: Sequence[Block], fitted: Fits) -> list[Leaning]:
    """What means of one cell rest on, a block each of those fitted side by side; of place and metric 0."""
    rows = fitted.weights[:, 0]
    mean, by = fitted.estimates(rows), fitted.spread
    weight = fitted.tables.design.by_group_sums(rows)
    of_gauges = (by.group * weight**2).sum(axis=1)
    alone = np.maximum(mean.error**2 - of_gauges, 0.0)
    # Satterthwaite's, less what the variance of gauges adds to the doubt.
    doubt = mean.error**4 / mean.freedom - of_gauges**2 / by.group_freedom
    freedom = np.where(doubt > _HAIR, alone**2 / np.maximum(doubt, _HAIR), CERTAIN)
    means = np.stack([mean.value, alone, freedom, by.group_freedom], axis=1)
    zero, known = np.zeros(1, np.int64), zip(blocks, means, weight, by.group, strict=True)
    none = np.zeros(weight.shape[1], np.int64)
    return [
        Leaning(zero, zero, of[None], none, _gauges(block, fitted), weights, variances)
        for block, of, weights, variances in known
    ]


def _gauges(block: Block, fitted: Fits) -> Keys:
    """The keys of groups in the order of their codes in `readings_in`; below nought where undeclared."""
    kept = sound_rows(block, fitted.wild)
    keys = np.unique(block.clinic[kept] * 2**32 + block.gauge[kept])
    undeclared = np.isin(keys, block.clinic[block.gauge == UNDECLARED] * 2**32 + UNDECLARED)
    return np.where(undeclared, -1 - keys, keys)


def apart(old: Leaning, new: Leaning) -> Floats:
    """New less old: value, standard error and degrees of freedom, a row a mean of `new`.

    `old` is one mean. A gauge that read both counts with the mean of its two variances, and only for what its
    weights differ by.
    """
    order = np.argsort(old.gauge)
    place = order[np.searchsorted(old.gauge, new.gauge, sorter=order) % old.gauge.size]
    both = (old.gauge[place] == new.gauge) & (new.gauge >= 0)
    weight = new.weight - np.where(both, old.weight[place], 0.0)
    variance = np.where(both, (new.variance + old.variance[place]) / 2, new.variance)
    size = new.means.shape[0]
    gauges = np.bincount(new.of_mean, weight**2 * variance, size)
    alone = old.weight**2 * old.variance
    gauges += alone.sum() - np.bincount(new.of_mean, np.where(both, alone[place], 0.0), size)
    parts = np.stack([np.full(size, old.means[0, 1]), new.means[:, 1], np.maximum(gauges, 0.0)])
    known = np.stack(
        [np.full(size, old.means[0, 2]), new.means[:, 2], np.minimum(old.means[0, 3], new.means[:, 3])]
    )
    total, doubt = parts.sum(axis=0), (parts**2 / known).sum(axis=0)
    freedom = np.where(doubt > 0, total**2 / np.where(doubt > 0, doubt, 1.0), CERTAIN)
    return np.stack([new.means[:, 0] - old.means[0, 0], np.sqrt(total), freedom], axis=1)
