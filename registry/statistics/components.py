"""Split the spread of unit means into clinic, unit and repeat, for any unbalance, nested or crossed."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.statistics.designs import overlap
from registry.statistics.nested import Cells, Codes, stacked
from registry.statistics.robust import Floats
from registry.statistics.stacks import Stack, Sums

_TINY = 1e-9
_DESIGNS = 256


@dataclass(frozen=True)
class Components:
    """Variances of the model mean = centre + clinic + unit + noise; None where the design cannot carry one.

    `between` is the variance of means over units and clinics together: all there is when every clinic
    measured one unit of its own, so that unit and clinic cannot be told apart.
    """

    repeat: float | None
    unit: float | None
    clinic: float | None
    between: float | None

    @property
    def reproducibility(self) -> float | None:
        """Variance of one run of the same unit in another clinic: repeat + clinic (ISO 5725-1)."""
        if self.repeat is None or self.clinic is None:
            return None
        return self.repeat + self.clinic


def components(cells: Cells) -> Components:
    """Estimate the components by the method of moments on unit means; never below nought.

    Repeat is the pooled variance within, as in ISO 5725-2. The others follow from Henderson's first method
    (Biometrics 9, 1953) on the means with equal weight: the sums of squares between clinics and between
    units are set equal to their expectations, which allows for units seen by several clinics as well as for
    units nested in one. In balanced nested tables this is the classical analysis of variance. One unit sent
    round clinics is the design of ISO 5725-2 itself, and its formula, which weighs clinics by their runs, is
    used as it stands.
    """
    repeat = cells.repeat_variance
    rows = cells.mean.size
    if rows < 2:
        return Components(repeat, None, None, None)
    between = max(float(np.var(cells.mean, ddof=1) - np.mean(cells.noise)), 0.0)
    if cells.clinics == 1:
        return Components(repeat, between, None, between)
    if cells.units == 1:
        alone = between if repeat is None else _interlaboratory(cells, repeat)
        return Components(repeat, None, alone, alone)
    unit, clinic = _solved(stacked([cells]))
    return Components(repeat, _figure(unit[0]), _figure(clinic[0]), between)


def all_components(tables: Sequence[Cells], stack: Stack) -> list[Components]:
    """The components of tables of one design; `stack` holds them side by side."""
    first = tables[0]
    if min(first.mean.size, first.units, first.clinics) < 2:
        return [components(table) for table in tables]
    between = np.maximum(np.var(stack.mean, axis=1, ddof=1) - np.mean(stack.noise, axis=1), 0.0)
    figures = zip(stack.repeat, *_solved(stack), between, strict=True)
    return [Components(*(_figure(value) for value in row)) for row in figures]


def _figure(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _interlaboratory(cells: Cells, repeat: float) -> float:
    """Variance between clinics that ran one unit, by the formulae of ISO 5725-2 (from memory)."""
    runs = cells.runs
    mean = float(runs @ cells.mean / runs.sum())
    squares = float(runs @ (cells.mean - mean) ** 2) / (runs.size - 1)
    typical = float(runs.sum() - (runs**2).sum() / runs.sum()) / (runs.size - 1)
    return max((squares - repeat) / typical, 0.0)


def _solved(stack: Stack) -> tuple[Floats, Floats]:
    """Unit and clinic variances; where one would be negative it is nought and the other carries all.

    NaN where the design cannot tell the two apart.
    """
    (by_clinic, by_unit), solvable = _coefficients(stack.clinic.tobytes(), stack.unit.tobytes())
    if not solvable:
        nothing = np.full(stack.random.size, np.nan)
        return nothing, nothing
    from_clinic, from_unit = _between(stack, stack.by_clinic), _between(stack, stack.by_unit)
    clinic, unit = np.linalg.solve(np.array([by_clinic, by_unit]), np.array([from_clinic, from_unit]))
    alone = from_unit / by_unit[1], from_clinic / by_clinic[0]
    units = np.where(clinic < 0, alone[0], np.where(unit < 0, 0.0, unit))
    clinics = np.where(clinic < 0, 0.0, np.where(unit < 0, alone[1], clinic))
    return np.maximum(units, 0.0), np.maximum(clinics, 0.0)


def _between(stack: Stack, by: Sums) -> Floats:
    """The sums of squares of group means about the grand mean, less what noise alone puts into them."""
    total = by(stack.mean - stack.mean.mean(axis=1, keepdims=True))
    noise = np.sum(by(stack.noise) / by.size, axis=1) - np.sum(stack.noise, axis=1) / stack.unit.size
    found: Floats = np.sum(total**2 / by.size, axis=1) - noise
    return found


Shares = tuple[float, float]


@lru_cache(_DESIGNS)
def _coefficients(clinics: bytes, units: bytes) -> tuple[tuple[Shares, Shares], bool]:
    """How much of the clinic and unit variance the sums of squares between clinics and between units hold,
    and whether that tells the two apart. Kept, since many cells come from the same units at the same clinics.
    """
    effects = [np.frombuffer(codes, np.intp) for codes in (clinics, units)]
    first, second = ((_share(group, effects[0]), _share(group, effects[1])) for group in effects)
    matrix = np.array([first, second])
    return (first, second), bool(abs(np.linalg.det(matrix)) > _TINY * abs(matrix).max() ** 2)


def _share(group: Codes, effect: Codes) -> float:
    """How much of an effect's variance a sum of squares between groups holds."""
    return overlap(effect, group) - float(np.sum(np.bincount(effect).astype(float) ** 2)) / group.size
