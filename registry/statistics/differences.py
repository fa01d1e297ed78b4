"""Means of builds that units, clinics and gauges have in common, and the differences between them.

The model is reading = cell + unit + group + noise. A cell is what is compared: a build, or a base with a
part. A group is one gauge of one clinic: whatever leans there leans alike in every cell it read, so a clinic
that measured both builds with one gauge is its own control, and its lean leaves the difference. A unit read
in several cells is its own control likewise.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from registry.statistics.mixed import Codes, Cover
from registry.statistics.robust import Floats
from registry.statistics.wild import wild_units

_TINY = 1e-9
_CERTAIN = 1e6
_HAIR = 1e-300
# Units count as cancelled only to a third of the degree they are: found by simulated coverage.
_WARY = 3.0
# Beyond so many units what one of them weighs more than another no longer matters to what is known.
_MOST_UNITS = 500


@dataclass(frozen=True)
class Readings:
    """One row a unit, group and cell; all codes run from 0 up and every cell has a row.

    `mean` is the mean of `runs`; `systematic` the standard uncertainty the group's readings share; `squares`
    and `freedom` pool squared deviations of runs from their row's mean; `random` is the standard uncertainty
    of one run by its own scatter. `fixed` marks units that are themselves what is asked about, so that their
    own deviation is part of the answer and not of its doubt.
    """

    cell: Codes
    unit: Codes
    group: Codes
    mean: Floats
    runs: Floats
    systematic: Floats
    random: float
    squares: float
    freedom: int
    fixed: Codes | None = None

    @property
    def noise(self) -> Floats:
        """Variance of each row's mean by its runs, never below what the runs declare of themselves."""
        repeat = self.squares / self.freedom if self.freedom >= 2 else self.random**2
        doubt: Floats = np.maximum(repeat, self.random**2) / self.runs
        return doubt

    @property
    def noise_freedom(self) -> float:
        """Degrees of freedom of the noise; what runs declare of themselves counts as known."""
        declared = self.freedom < 2 or self.squares / self.freedom <= self.random**2
        return _CERTAIN if declared else float(self.freedom)

    @property
    def leaning(self) -> Floats:
        """Mean square of the declared systematic uncertainty, a value a group."""
        squares: Floats = np.bincount(self.group, self.systematic**2) / np.bincount(self.group)
        return squares


@dataclass(frozen=True)
class Estimate:
    """A linear figure of the cells' means, its standard error and the degrees of freedom that is known to."""

    value: float
    error: float
    freedom: float

    def interval(self, coverage: float = 0.95) -> tuple[float, float]:
        """Both ends by Student's t."""
        half = float(special.stdtrit(self.freedom, (1 + coverage) / 2)) * self.error
        return self.value - half, self.value + half

    def p_above(self, bound: float) -> float:
        """One-sided p-value against the figure's being at or below `bound`."""
        return self._tail(self.value - bound)

    def p_below(self, bound: float) -> float:
        """One-sided p-value against the figure's being at or above `bound`."""
        return self._tail(bound - self.value)

    def p_apart(self, bound: float = 0.0) -> float:
        """Two-sided p-value against the figure's being `bound`."""
        return min(1.0, 2 * self._tail(abs(self.value - bound)))

    def _tail(self, distance: float) -> float:
        if self.error <= 0:
            return 0.0 if distance > 0 else 1.0
        return float(special.stdtr(self.freedom, -distance / self.error))


@dataclass(frozen=True)
class Fit:
    """Means of all cells by generalised least squares under the estimated spread.

    `weights` has a row a cell and a column a reading. `unit` is the variance between units, `group` one
    variance a group; `unit_freedom` and `group_freedom` say to how many degrees of freedom they are known.
    """

    readings: Readings
    weights: Floats
    unit: float
    group: Floats
    unit_freedom: float
    group_freedom: float
    wild: tuple[int, ...] = ()

    @cached_property
    def means(self) -> Floats:
        """The means of the cells."""
        means: Floats = self.weights @ self.readings.mean
        return means

    def estimate(self, contrast: ArrayLike) -> Estimate:
        """The figure `contrast` makes of the cells' means, with Satterthwaite's degrees of freedom (GUM G.4).

        What units and groups have in common over cells cancels as far as the contrast lets it.
        """
        rows = np.asarray(contrast, float) @ self.weights
        of = self.readings
        by_unit = np.bincount(of.unit, rows)
        if of.fixed is not None:
            by_unit[of.fixed] = 0.0
        # Units and noise are known from one sum of squares: where little is known, noise alone never passes
        # for all there is. As far as units cancel, noise is known from repeats.
        noise = float(of.noise @ rows**2)
        left = min(_WARY * float(by_unit @ by_unit) / max(float(rows @ rows), _HAIR), 1.0)
        parts = (
            self.unit * float(by_unit @ by_unit) + left * noise,
            (1 - left) * noise,
            float(self.group @ np.bincount(of.group, rows) ** 2),
        )
        known = (self.unit_freedom, of.noise_freedom, self.group_freedom)
        variance = sum(parts)
        doubt = sum(part**2 / freedom for part, freedom in zip(parts, known, strict=True))
        freedom = variance**2 / doubt if doubt > 0 else _CERTAIN
        return Estimate(float(rows @ of.mean), variance**0.5, freedom)

    def ahead(self, cell: int) -> Estimate:
        """One run of the next unit at the next clinic in that cell, as predicted: value, spread, freedom."""
        of = self.readings
        rows = self.weights[cell]
        own = self.unit + float(np.mean(of.noise * of.runs))
        among = self.unit * float(np.sum(np.bincount(of.unit, rows) ** 2)) + float(of.noise @ rows**2)
        between = float(self.group @ np.bincount(of.group, rows) ** 2) + float(np.mean(self.group))
        variance = own + among + between
        doubt = (own + among) ** 2 / self.unit_freedom + between**2 / self.group_freedom
        freedom = variance**2 / doubt if doubt > 0 else _CERTAIN
        return Estimate(float(self.means[cell]), variance**0.5, freedom)


def fit(readings: Readings) -> Fit | None:
    """Fit the means of all cells; None where nothing tells how much units or groups scatter.

    Wild units are reined in within their cell first (`nested.tamed`). The spread between units is taken to be
    one and the same in all cells. Both variances follow from Henderson's third method (Biometrics 9, 1953):
    sums of squares within groups and cells, and within cells, set equal to their expectations. A group
    never counts for less than its gauge declares. Cost: rows times groups.
    """
    kept, wild = _sound(readings)
    spread = _spread(kept)
    if spread is None:
        return None
    unit, group, unit_freedom, group_freedom = spread
    design = _one_hot(kept.cell)
    solved = Cover(kept.unit, kept.group, kept.noise, unit, group).solve(design)
    weights = np.asarray(np.linalg.solve(design.T @ solved, solved.T), float)
    return Fit(kept, weights, unit, group, unit_freedom, group_freedom, tuple(wild.tolist()))


def _sound(readings: Readings) -> tuple[Readings, Codes]:
    """The rows without wild units, and which units those are; no cell and no unit asked about is emptied."""
    wild = wild_units(readings.mean, readings.noise, readings.cell, readings.unit, readings.group)
    if readings.fixed is not None:
        wild = np.setdiff1d(wild, readings.fixed)
    if not wild.size:
        return readings, wild
    keep = ~np.isin(readings.unit, wild)
    if np.unique(readings.cell[keep]).size <= int(readings.cell.max()):
        return readings, np.zeros(0, np.intp)
    units, unit = np.unique(readings.unit[keep], return_inverse=True)
    kept = replace(
        readings,
        cell=readings.cell[keep],
        unit=unit,
        group=np.unique(readings.group[keep], return_inverse=True)[1],
        mean=readings.mean[keep],
        runs=readings.runs[keep],
        systematic=readings.systematic[keep],
        fixed=None if readings.fixed is None else np.flatnonzero(np.isin(units, readings.fixed)),
    )
    return kept, wild


def _one_hot(codes: Codes) -> Floats:
    columns = np.zeros((codes.size, int(codes.max()) + 1))
    columns[np.arange(codes.size), codes] = 1.0
    return columns


@dataclass(frozen=True)
class _Sum:
    """A sum of squares, what noise puts into it, and how much of each variance it holds."""

    squares: float
    noise: float
    unit: float
    group: float
    freedom: int


def _spread(of: Readings) -> tuple[float, Floats, float, float] | None:
    """Unit variance, group variances, and the degrees of freedom of each."""
    within, rank = _within_groups(of)
    overall = _within_cells(of)
    groups, cells = int(of.group.max()) + 1, int(of.cell.max()) + 1
    leaning = of.leaning
    if within.freedom > 0 and within.unit > _TINY:
        unit = max((within.squares - within.noise) / within.unit, 0.0)
        told = groups + rank - cells if overall.group > _TINY else 0
        left = overall.squares - overall.noise - unit * overall.unit
        estimated = max(left / overall.group, 0.0) if told > 0 else 0.0
        group = np.maximum(leaning, estimated)
        # Up to what gauges declare it counts as known; only what is seen beyond that has to be estimated.
        seen = max(estimated - float(leaning.mean()), 0.0) / max(float(group.mean()), _HAIR)
        known = max(min(_freedom_of_units(of, within.freedom), float(_units_free(of))), 1.0)
        return unit, group, known, told / seen**2 if seen > 0 else _CERTAIN
    if overall.freedom <= 0 or overall.unit <= _TINY:
        return None
    # Each group has one unit a cell at most: what is not the gauges' by their own word is the units'.
    gauges = float(np.sum(leaning * _held(of)))
    unit = max((overall.squares - overall.noise - gauges) / overall.unit, 0.0)
    return unit, leaning, float(overall.freedom), _CERTAIN


def _within_groups(of: Readings) -> tuple[_Sum, int]:
    """The sum of squares left by groups and cells, and the rank of the cells beside the groups."""
    size = np.bincount(of.group).astype(float)
    basis = _basis(_less_group_means(_one_hot(of.cell), of.group, size))
    apart = _less_group_means(of.mean[:, None], of.group, size)[:, 0]
    apart = apart - basis @ (basis.T @ apart)
    share = 1 - 1 / size[of.group] - np.sum(basis**2, axis=1)
    along = np.zeros((int(of.unit.max()) + 1, basis.shape[1]))
    np.add.at(along, of.unit, basis)
    unit = of.mean.size - _overlap(of.unit, of.group, size) - float(np.sum(along**2))
    rank = basis.shape[1]
    freedom = of.mean.size - size.size - rank
    return _Sum(float(apart @ apart), float(of.noise @ share), unit, 0.0, freedom), rank


def _freedom_of_units(of: Readings, rows: int) -> float:
    """Degrees of freedom of the sum of squares within groups as a word on units, where some have many rows.

    By Satterthwaite, tr(K)^2 / tr(K^2) with K = Z'MZ of the units' columns Z and the residual maker M.
    """
    units = int(of.unit.max()) + 1
    if units == of.unit.size or units > _MOST_UNITS:
        return float(rows)
    size = np.bincount(of.group).astype(float)
    left = _less_group_means(_one_hot(of.unit), of.group, size)
    basis = _basis(_less_group_means(_one_hot(of.cell), of.group, size))
    left = left - basis @ (basis.T @ left)
    kernel = left.T @ left
    total = float(np.sum(kernel**2))
    return min(float(np.trace(kernel)) ** 2 / total, float(rows)) if total > 0 else float(rows)


def _units_free(of: Readings) -> int:
    """Units beyond those that the differences between cells use up, however often each was read."""
    units = np.bincount(of.unit).astype(float)
    cells = _one_hot(of.cell)
    shared = _basis(_less_group_means(cells, of.unit, units)).shape[1]
    return int(units.size - cells.shape[1] + shared)


def _within_cells(of: Readings) -> _Sum:
    """The sum of squares about the cells' own means."""
    size = np.bincount(of.cell).astype(float)
    apart = of.mean - (np.bincount(of.cell, of.mean) / size)[of.cell]
    noise = float(of.noise @ (1 - 1 / size[of.cell]))
    rows = of.mean.size
    unit, group = (rows - _overlap(codes, of.cell, size) for codes in (of.unit, of.group))
    return _Sum(float(apart @ apart), noise, unit, group, rows - size.size)


def _held(of: Readings) -> Floats:
    """How much of each group's variance the sum of squares within cells holds."""
    size = np.bincount(of.cell).astype(float)
    counts = np.zeros((int(of.group.max()) + 1, size.size))
    np.add.at(counts, (of.group, of.cell), 1.0)
    held: Floats = counts.sum(axis=1) - (counts**2 / size).sum(axis=1)
    return held


def _overlap(codes: Codes, within: Codes, size: Floats) -> float:
    """Sum over pairs of codes of the squared number of rows they share, over the size of the second."""
    pairs, counts = np.unique(codes * size.size + within, return_counts=True)
    return float(np.sum(counts.astype(float) ** 2 / size[pairs % size.size]))


def _less_group_means(columns: Floats, group: Codes, size: Floats) -> Floats:
    total = np.zeros((size.size, columns.shape[1]))
    np.add.at(total, group, columns)
    apart: Floats = columns - (total / size[:, None])[group]
    return apart


def _basis(columns: Floats) -> Floats:
    """Orthonormal columns that span the same; none where the columns are nought."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, sizes > _TINY * max(float(np.abs(columns).max()), 1.0) * columns.shape[0]]
    return basis
