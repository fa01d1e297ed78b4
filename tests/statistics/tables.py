"""Make tables of units at clinics for tests."""

from collections.abc import Sequence

import numpy as np

from registry.statistics.nested import Cells


def cells_from_runs(
    rows: Sequence[tuple[int, int, Sequence[float]]], *, systematic: float = 0.0, random: float = 0.1
) -> Cells:
    """The table of (unit, clinic, values of the runs) rows."""
    values = [np.asarray(row[2], float) for row in rows]
    return Cells(
        unit=np.array([row[0] for row in rows]),
        clinic=np.array([row[1] for row in rows]),
        mean=np.array([v.mean() for v in values]),
        runs=np.array([float(v.size) for v in values]),
        systematic=np.full(len(rows), systematic),
        random=random,
        squares=float(sum(((v - v.mean()) ** 2).sum() for v in values)),
        freedom=sum(v.size - 1 for v in values),
    )


def simulated(
    rng: np.random.Generator,
    layout: Sequence[tuple[int, int, int]],
    *,
    clinic: float,
    unit: float,
    run: float,
    systematic: float = 0.0,
) -> Cells:
    """Runs about 100 with given standard deviations; `layout` holds (unit, clinic, number of runs)."""
    of_unit = rng.normal(0, unit, 1 + max(row[0] for row in layout))
    of_clinic = rng.normal(0, clinic, 1 + max(row[1] for row in layout))
    rows = [(u, c, 100 + of_unit[u] + of_clinic[c] + rng.normal(0, run, n)) for u, c, n in layout]
    return cells_from_runs(rows, systematic=systematic, random=run)


def nested_layout(clinics: int, units: int, runs: int) -> list[tuple[int, int, int]]:
    """Every clinic measures units of its own."""
    return [(c * units + k, c, runs) for c in range(clinics) for k in range(units)]
