"""Split the spread of unit means into clinic, unit and repeat, for any unbalance, nested or crossed."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from registry.statistics.designs import overlap
from registry.statistics.nested import Cells, Codes

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
    unit, clinic = _solved(cells)
    return Components(repeat, unit, clinic, between)


def _interlaboratory(cells: Cells, repeat: float) -> float:
    """Variance between clinics that ran one unit, by the formulae of ISO 5725-2 (from memory)."""
    runs = cells.runs
    mean = float(runs @ cells.mean / runs.sum())
    squares = float(runs @ (cells.mean - mean) ** 2) / (runs.size - 1)
    typical = float(runs.sum() - (runs**2).sum() / runs.sum()) / (runs.size - 1)
    return max((squares - repeat) / typical, 0.0)


def _solved(cells: Cells) -> tuple[float | None, float | None]:
    """Unit and clinic variance; where one would be negative it is nought and the other carries all."""
    (by_clinic, by_unit), solvable = _coefficients(cells.clinic.tobytes(), cells.unit.tobytes())
    if not solvable:
        return None, None
    from_clinic, from_unit = _between(cells, cells.clinic), _between(cells, cells.unit)
    clinic, unit = np.linalg.solve(np.array([by_clinic, by_unit]), np.array([from_clinic, from_unit]))
    if clinic < 0:
        clinic, unit = 0.0, from_unit / by_unit[1]
    elif unit < 0:
        unit, clinic = 0.0, from_clinic / by_clinic[0]
    return max(float(unit), 0.0), max(float(clinic), 0.0)


def _between(cells: Cells, group: Codes) -> float:
    """The sum of squares of group means about the grand mean, less what noise alone puts into it."""
    size = np.bincount(group).astype(float)
    total = np.bincount(group, cells.mean - cells.mean.mean())
    noise = float(np.sum(np.bincount(group, cells.noise) / size) - np.sum(cells.noise) / group.size)
    return float(np.sum(total**2 / size)) - noise


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
