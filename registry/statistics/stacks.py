"""Tables of one design side by side: the same units at the same clinics, read at many settings and metrics.

All of them are worked out at once, a row a table, since for the few rows of a table it is the number of calls
that costs. What is done is told where it is done for a single table: `nested`, `components`, `precision`.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from registry.statistics.robust import Floats

Codes = NDArray[np.intp]


@dataclass(frozen=True)
class Sums:
    """Sums over the rows of each code, along the second axis."""

    order: Codes
    first: Codes
    size: Floats

    def __call__(self, values: Floats) -> Floats:
        """A column a code in place of a column a row."""
        # `take` lays rows one after the other in memory, which indexing by an array does not.
        summed: Floats = np.add.reduceat(values.take(self.order, axis=1), self.first, axis=1)
        return summed


def sums(codes: Codes) -> Sums:
    """How to sum over codes from 0 up, each with a row."""
    size = np.bincount(codes)
    return Sums(np.argsort(codes, kind="stable"), np.cumsum(size) - size, size.astype(float))


@dataclass(frozen=True)
class Stack:
    """As `nested.Cells`, with an axis for the tables in front of all but the codes.

    `repeat` is the variance of runs about their unit's mean, NaN below two repeats.
    """

    unit: Codes
    clinic: Codes
    mean: Floats
    runs: Floats
    systematic: Floats
    random: Floats
    repeat: Floats

    def with_means(self, mean: Floats) -> "Stack":
        """The same with other means."""
        return replace(self, mean=mean)

    @cached_property
    def by_unit(self) -> Sums:
        """Sums over the rows of each unit."""
        return sums(self.unit)

    @cached_property
    def by_clinic(self) -> Sums:
        """Sums over the rows of each clinic."""
        return sums(self.clinic)

    @cached_property
    def noise(self) -> Floats:
        """Variance of each row's mean from its runs alone."""
        known: Floats = np.where(np.isnan(self.repeat), self.random**2, self.repeat)[:, None] / self.runs
        return known

    @cached_property
    def doubt(self) -> Floats:
        """The same, but never below what the runs declare of themselves."""
        floored: Floats = np.maximum(self.noise, self.random[:, None] ** 2 / self.runs)
        return floored


def alike(designs: Sequence[tuple[Codes, Codes]]) -> list[list[int]]:
    """The places of those that have the same codes of units and clinics."""
    found: dict[tuple[bytes, bytes], list[int]] = defaultdict(list)
    for place, (unit, clinic) in enumerate(designs):
        found[unit.tobytes(), clinic.tobytes()].append(place)
    return list(found.values())


def middle(values: Floats) -> Floats:
    """The median along the last axis, which is kept with one place."""
    ranked = np.sort(values, axis=-1)
    size = values.shape[-1]
    found: Floats = (ranked[..., (size - 1) // 2, None] + ranked[..., size // 2, None]) / 2
    return found


def weighted_middle(values: Floats, weights: Floats) -> Floats:
    """In each row the value with half the weight below it, halfway between two when it falls between them.

    `weights` is one a column.
    """
    order = np.argsort(values, axis=1, kind="stable")
    ranked = np.take_along_axis(values, order, axis=1)
    share = np.cumsum(weights[order], axis=1) / np.sum(weights)
    low, high = ((share < 0.5 + off).sum(axis=1)[:, None] for off in (-1e-12, 1e-12))
    high = np.minimum(high, values.shape[1] - 1)
    found: Floats = (np.take_along_axis(ranked, low, 1) + np.take_along_axis(ranked, high, 1)) / 2
    return found


def weights_of(stack: Stack, unit: Floats, clinic: Floats) -> Floats:
    """Generalised least squares weights of the common mean in each table, before any are cut off.

    As `mixed.Cover.solve` of ones: `unit` is a variance a table, `clinic` one a table and clinic.
    """
    noise = stack.doubt
    largest = np.maximum(np.maximum(noise.max(axis=1), unit), clinic.max(axis=1))
    hair = np.where(largest > 0, 1e-10 * largest, 1.0)[:, None]
    clinics = np.zeros((stack.clinic.size, clinic.shape[1] + 1))
    clinics[np.arange(stack.clinic.size), stack.clinic] = 1.0
    clinics[:, -1] = 1.0
    solved = (1.0 / np.maximum(noise, hair))[:, :, None] * clinics
    totals = stack.by_unit(solved)
    shrink = unit[:, None] / (1.0 + unit[:, None] * totals[:, :, -1])
    solved = solved - solved[:, :, -1:] * (shrink[:, :, None] * totals)[:, stack.unit]
    through, plain = solved[:, :, :-1], solved[:, :, -1:]
    core = stack.by_clinic(through)
    places = np.arange(clinic.shape[1])
    core[:, places, places] += 1.0 / np.maximum(clinic, hair)
    found: Floats = (plain - through @ np.linalg.solve(core, stack.by_clinic(plain)))[:, :, 0]
    return found
